// Which port is meant: a path, or a USB identity that does not change between plugs.
import { SerialPort } from 'serialport';
import { PortError } from './port-error';

/** Where a board is, as a rig file says it: a path, or a USB identity. */
export interface SerialPlace {
  readonly port: string | null;
  readonly usb: { readonly vendor: string; readonly product: string; readonly serial: string | null } | null;
}

/** A port of this computer; the identity where it is a USB device. */
export interface ListedPort {
  readonly path: string;
  readonly vendorId?: string | undefined;
  readonly productId?: string | undefined;
  readonly serialNumber?: string | undefined;
}

/** Ports of this computer. Rejects with a {@link PortError} when the system cannot tell. */
export async function listPorts(): Promise<readonly ListedPort[]> {
  try {
    return await (SerialPort as unknown as { list(): Promise<ListedPort[]> }).list();
  } catch (cause) {
    throw new PortError('CANNOT_LIST', `The ports of this computer cannot be listed (${messageOf(cause)}). Name the port by its path: link.port in the rig file.`, { cause });
  }
}

/** Path of the port that is meant. Rejects with a {@link PortError} when none or several fit. */
export async function pathOf(place: SerialPlace, list: () => Promise<readonly ListedPort[]> = listPorts): Promise<string> {
  if (place.port !== null) return place.port;
  const { usb } = place;
  if (usb === null) throw new PortError('NOT_NAMED', 'The rig file names no port. Add link.port, or link.usb with vendor and product.');
  const ports = await list();
  const same = (a: string | undefined, b: string): boolean => a !== undefined && a.toLowerCase() === b.toLowerCase();
  const fitting = ports.filter((p) => same(p.vendorId, usb.vendor) && same(p.productId, usb.product) && (usb.serial === null || p.serialNumber === usb.serial));
  const wanted = `USB device ${usb.vendor}:${usb.product}${usb.serial === null ? '' : ` with serial number ${usb.serial}`}`;
  if (fitting.length === 0) throw new PortError('MISSING', `There is no ${wanted}. Ports here: ${described(ports)}. Plug the board in, or correct link.usb in the rig file.`);
  if (fitting.length > 1) throw new PortError('AMBIGUOUS', `${fitting.length} ports are a ${wanted}: ${described(fitting)}. Add link.usb.serial to the rig file, or unplug the others.`);
  return fitting[0].path;
}

/** Ports with their identities, for messages. */
export function described(ports: readonly ListedPort[]): string {
  if (ports.length === 0) return 'none';
  return ports.map((p) => {
    const usb = p.vendorId === undefined ? '' : ` (${p.vendorId}:${p.productId ?? '?'}${p.serialNumber === undefined ? '' : ` serial ${p.serialNumber}`})`;
    return `${p.path}${usb}`;
  }).join(', ');
}

export function messageOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
