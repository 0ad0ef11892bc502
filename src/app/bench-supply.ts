// The supply of a rig file, opened: over TCP, over a serial port, or the simulated instrument over TCP inside this computer.
import { ScpiSupply } from '../host/scpi/driver';
import { serialLine, tcpLine } from '../host/scpi/line';
import { serveTcp } from '../host/tcp-server';
import type { Instrument } from '../twin/instrument/instrument';
import type { ScpiSupplyFile } from '../model/files/rig-supply';
import type { BenchSupply } from './supplied-world';

/**
 * Opens the supply at `volts`, output off.
 * @param instrument the simulated instrument, for `connection: { kind: twin }`
 * @throws SupplyError by name, with what to do
 */
export async function openSupply(file: ScpiSupplyFile, volts: number, note: (text: string) => void, instrument: Instrument | null): Promise<BenchSupply> {
  const { connection } = file;
  const onNote = note;
  if (connection.kind === 'tcp') return benchSupply(await ScpiSupply.open({ file, open: tcpLine(connection.host, connection.port), onNote }, volts), null);
  if (connection.kind === 'serial') return benchSupply(await ScpiSupply.open({ file, open: serialLine(connection.port, connection.baud), onNote }, volts), null);
  if (instrument === null) throw new Error('a rig without a simulated instrument asks for one');
  const served = await serveTcp(instrument);
  try {
    return benchSupply(await ScpiSupply.open({ file, open: tcpLine('127.0.0.1', served.port), onNote }, volts), () => served.close());
  } catch (error) {
    await served.close();
    throw error;
  }
}

function benchSupply(supply: ScpiSupply, after: (() => Promise<void>) | null): BenchSupply {
  return {
    title: supply.identity?.text ?? 'a supply',
    setVoltage: (volts) => supply.setVoltage(volts),
    output: (on) => supply.output(on),
    measure: () => supply.measure(),
    cut: () => { supply.cut(); },
    close: async () => {
      await supply.close();
      await after?.();
    },
  };
}
