// Whether what a rig measures is real. One place, so that nothing simulated can pass for a measurement.
import type { RigLink } from './files/rig';

/** As much of a rig file as the question needs; a frozen plan may hold less than a rig file. */
type Linked = { readonly link?: { readonly kind?: string; readonly simulated?: boolean } | RigLink };

/** The simulated rig, or a board that the rig file declares as simulated or emulated. Its board must say the same (see src/link/session.ts). */
export function isSimulated({ link }: Linked): boolean {
  return link !== undefined && (link.kind === 'twin' || ('simulated' in link && link.simulated === true));
}
