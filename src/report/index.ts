// The report: results and a few raw traces in, one self-contained page out.
export { renderReport, SECTION_IDS } from './render';
export { NO_EXTRAS, type FactTable, type ReportExtras, type Trace, type TraceSeries } from './extras';
export { gzipBase64, zoomCode } from './zoom-code';
