// The scheduler's favour, for processes that others wait for in real time.
import os from 'node:os';

/** Asks for a process (this one) to be run before ordinary ones. Needs a right that not every user has: without it nothing changes. Returns whether it was given. */
export function askForPriority(pid = 0): boolean {
  try {
    os.setPriority(pid, os.constants.priority.PRIORITY_HIGH);
    return true;
  } catch {
    return false;
  }
}
