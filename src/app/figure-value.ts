/** A metric of one run as a number: what progress, status and the planner of repeats work with. */
export interface FigureValue {
  readonly value: number;
  readonly unit: string;
}
