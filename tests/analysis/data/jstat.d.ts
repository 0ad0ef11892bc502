/** The few functions of jstat that the tests call; the package brings no types. */
declare module 'jstat' {
  type Cdf = { cdf(x: number, ...parameters: number[]): number };
  const jstat: { studentt: Cdf; chisquare: Cdf; centralF: Cdf; normal: Cdf; anovafscore(...groups: number[][]): number };
  export default jstat;
}
