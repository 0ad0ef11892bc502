// The import table of docs/architecture.md, as rules. One row a folder: what it may import from src, and which packages.
const TABLE = {
  units: { may: [], packages: [] },
  wire: { may: [], packages: [] },
  controller: { may: ['wire'], packages: [] },
  model: { may: ['units'], packages: ['zod', 'yaml'] },
  link: { may: ['units', 'model', 'wire'], packages: [] },
  protocols: { may: ['units', 'model'], packages: [] },
  record: { may: ['units', 'model'], packages: ['@mcap/core', '@foxglove/wasm-zstd', 'hyparquet-writer'] },
  analysis: { may: ['units', 'model'], packages: ['@stdlib/.*', 'ml-.*', 'fili'] },
  safety: { may: ['units', 'model'], packages: ['rxjs'] },
  station: { may: ['units', 'model', 'wire', 'link', 'safety'], packages: [] },
  sequencer: { may: ['units', 'model'], packages: ['rxjs'] },
  campaign: { may: ['units', 'model'], packages: [] },
  report: { may: ['units', 'model', 'analysis'], packages: ['@observablehq/plot', 'linkedom', 'uplot'] },
  twin: { may: ['units', 'model', 'wire', 'controller', 'station'], packages: [] },
  host: { may: ['units', 'model', 'wire', 'controller', 'link', 'station', 'safety', 'record'], packages: ['serialport', '@serialport/.*', 'johnny-five', 'firmata-io', 'tsx'] },
  app: { may: ['units', 'model', 'wire', 'controller', 'link', 'protocols', 'record', 'analysis', 'safety', 'station', 'sequencer', 'campaign', 'report', 'twin', 'host'], packages: ['rxjs'] },
  cli: { may: ['app', 'units', 'model'], packages: ['yargs', 'listr2', '@clack/prompts', 'picocolors'] },
};
// sequencer/ports.ts holds the interfaces that the sequencer owns; their implementers may import the types.
const PORT_USERS = ['twin', 'station', 'record', 'host'];
// Folders whose pure half stays free of I/O. The others name their impure files.
const MAY_TOUCH_NODE = 'src/(host|app|cli|record|report)/';

const folders = Object.keys(TABLE);
const forbidden = [
  { name: 'no-circular', severity: 'error', from: { path: '^src' }, to: { circular: true } },
  { name: 'not-to-unresolvable', severity: 'error', from: { path: '^src' }, to: { couldNotResolve: true, pathNot: 'controller/generated' } },
  { name: 'node-only-in-the-impure-ring', severity: 'error', from: { path: '^src/', pathNot: `^${MAY_TOUCH_NODE}` }, to: { dependencyTypes: ['core'] } },
  {
    name: 'controller-only-as-wasm', severity: 'error', from: { path: '^src/', pathNot: '^src/controller/' },
    to: { path: '^src/controller/', pathNot: '^src/controller/wasm\\.ts$' },
  },
];
for (const [folder, row] of Object.entries(TABLE)) {
  const others = folders.filter((f) => f !== folder && !row.may.includes(f));
  const ports = PORT_USERS.includes(folder);
  forbidden.push({
    name: `imports-of-${folder}`, severity: 'error', from: { path: `^src/${folder}/` },
    to: { path: `^src/(${others.join('|')})/`, ...(ports ? { pathNot: '^src/sequencer/ports\\.ts$' } : {}) },
  });
  if (ports) forbidden.push({
    name: `ports-are-types-for-${folder}`, severity: 'error', from: { path: `^src/${folder}/` },
    to: { path: '^src/sequencer/ports\\.ts$', dependencyTypesNot: ['type-only'] },
  });
  const allowed = row.packages.map((p) => `node_modules/${p}(/|$)`).join('|');
  forbidden.push({
    name: `packages-of-${folder}`, severity: 'error', from: { path: `^src/${folder}/` },
    to: { path: 'node_modules/', ...(allowed === '' ? {} : { pathNot: `(${allowed})` }) },
  });
}
module.exports = {
  forbidden,
  options: {
    doNotFollow: { path: 'node_modules' }, tsPreCompilationDeps: true, tsConfig: { fileName: 'tsconfig.json' },
    enhancedResolveOptions: { exportsFields: ['exports'], conditionNames: ['import', 'require', 'node', 'default', 'types'], mainFields: ['main', 'types'] },
  },
};
