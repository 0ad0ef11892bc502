// A program with a supply switched on over TCP that ends in the way it is told: argv port and way.
import { atExit } from '../../src/host/at-exit';
import { ScpiSupply } from '../../src/host/scpi/driver';
import { tcpLine } from '../../src/host/scpi/line';
import { supplySchema } from '../../src/model/files/rig-supply';

const [port = '', way = ''] = process.argv.slice(2);
const file = supplySchema.parse({ kind: 'scpi', connection: { kind: 'tcp', host: '127.0.0.1', port: Number(port) }, voltage: '7.6 V', current_limit: '15 A', range: '2 V .. 12 V' });
if (file.kind !== 'scpi') throw new Error('not a programmable supply');
const supply = await ScpiSupply.open({ file, open: tcpLine('127.0.0.1', Number(port)) }, 7.6);
atExit(() => { supply.cut(); });
await supply.output(true);
console.log('on');
if (way === 'return') await supply.close();
else if (way === 'exit') process.exit(3);
else if (way === 'throw') setImmediate(() => { throw new Error('nobody catches this'); });
else if (way === 'reject') void Promise.reject(new Error('nobody catches this'));
