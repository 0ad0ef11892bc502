// The scheduler's favour, for processes that others wait for in real time.
import { spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import os from 'node:os';

/**
 * Asks for a process (this one) to be run before ordinary ones. Needs a right that not every user has: without it nothing
 * changes. Returns whether it was given.
 */
export function askForPriority(pid = 0): boolean {
  try {
    os.setPriority(pid, os.constants.priority.PRIORITY_HIGH);
    return true;
  } catch {
    return false;
  }
}

/**
 * The same for the session of this process, of which it is the leader: Linux shares time among sessions first (sched(7), the
 * autogroup feature), so that the priority of a process in a session of its own says nothing against other sessions.
 */
export function askForSessionPriority(): boolean {
  try {
    writeFileSync('/proc/self/autogroup', String(os.constants.priority.PRIORITY_HIGH));
    return true;
  } catch {
    return false;
  }
}

/**
 * Asks for a process (this one) to be run before every ordinary one, whatever they do: round robin of the POSIX real-time
 * policies (sched(7)), by `chrt` of util-linux, at the lowest such priority. All its threads of now (one that waits for another must not wait for other programs); children do not inherit it.
 * Needs a right that not every user has: without it nothing changes. Returns whether it was given.
 */
export function askForRealTime(pid = process.pid, priority = 1): boolean {
  if (process.platform !== 'linux') return false;
  return spawnSync('chrt', ['--rr', '--reset-on-fork', '--all-tasks', '--pid', String(priority), String(pid)], { stdio: 'ignore' }).status === 0;
}
