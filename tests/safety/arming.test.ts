// Goal: nothing is armed and nothing keeps driving while any reason stands against it, and every reason is said.
// Method: one reason at a time, then all together; both sides of each bound.
import { describe, expect, test } from 'vitest';
import { mayArm, waitText, type ArmingInput, type ArmWhen } from '../../src/safety/arming';
import { condition, startJudge } from '../../src/safety/judge';
import { HEARTBEAT_MAX_US, permitNow } from '../../src/safety/permit';
import { Drive, FACTS, SETUP } from './build';

const when: ArmWhen = { motor_below_degC: 45, motor_above_degC: 20, esc_below_degC: 50, esc_above_degC: null, supply_within: 0.03, within_s: 600 };

function resting(change: (drive: Drive) => void = () => undefined, over: Partial<ArmingInput> = {}) {
  const drive = new Drive();
  drive.state = 'safe';
  drive.throttle = 0;
  drive.si = { ...drive.si, current: 0, speed: 0, thrust: 0, motor_temperature: 30, esc_temperature: 30 };
  change(drive);
  drive.run(1000);
  return mayArm({ judge: drive.judge, beatAge_us: 0, link: null, board: null, armWhen: when, ...over });
}

describe('arming', () => {
  test('is granted on a bench at rest that meets its conditions', () => {
    expect(resting()).toEqual({ granted: true, reasons: [] });
    expect(resting(undefined, { armWhen: null })).toEqual({ granted: true, reasons: [] });
  });

  const blocked: [string, (d: Drive) => void, RegExp][] = [
    ['a motor too warm', (d) => (d.si.motor_temperature = 45.2), /^Arming waits for the motor temperature to be below 45 °C; it is 45\.\d °C\.$/],
    ['a motor too cold', (d) => (d.si.motor_temperature = 19), /to be above 20 °C; it is 19(\.1)? °C/],
    ['an ESC too warm', (d) => (d.si.esc_temperature = 51), /ESC temperature to be below 50 °C/],
    ['a supply away from its voltage', (d) => (d.si.voltage = 7.36), /bus to be within 3 % of 7\.6 V; it is 7\.36\d* V/],
    ['a limit broken at rest', (d) => (d.si.voltage = 9.2), /^Voltage 9\.2\d* V, above 9 V/],
    ['a stale sensor', (d) => d.silent.add('current'), /No new current sample/],
    ['an impossible sensor', (d) => d.impossible.add('thrust'), /thrust samples are impossible/],
    ['a pressed stop input', (d) => condition(d.judge, 'STOP_INPUT', 'The stop input is pressed.'), /stop input is pressed/],
    ['a record that cannot be written', (d) => condition(d.judge, 'CANNOT_RECORD', 'Cannot record: disk full.'), /disk full/],
  ];
  test.each(blocked)('%s blocks it, in words', (_what, change, words) => {
    const permit = resting(change);
    expect(permit.granted).toBe(false);
    expect(permit.reasons.join('\n')).toMatch(words);
  });

  test('just inside each bound is enough', () => {
    expect(resting((d) => { d.si.motor_temperature = 44.8; d.si.esc_temperature = 49.8; d.si.voltage = 7.38; }).granted).toBe(true);
    expect(resting((d) => (d.si.motor_temperature = 20.2)).granted).toBe(true);
  });

  test('a latched trip, a silent main process, a link or board that is not ready block it', () => {
    expect(resting(undefined, { link: 'The board is not connected.' }).reasons).toEqual(['The board is not connected.']);
    expect(resting(undefined, { board: 'The board is driving.' }).reasons).toEqual(['The board is driving.']);
    expect(resting(undefined, { beatAge_us: Infinity }).reasons).toEqual(['The main process was never heard.']);
    const tripped = new Drive();
    tripped.run(100);
    tripped.si.current = 45;
    tripped.run(50);
    const { reasons } = mayArm({ judge: tripped.judge, beatAge_us: 0, link: null, board: null, armWhen: null });
    expect(reasons[0]).toMatch(/^Tripped: CURRENT_PEAK\. Current 45.*Clear the trip first\.$/);
  });

  test('a bench that has not measured anything yet is not armed', () => {
    const judge = startJudge(SETUP);
    const input = { judge, beatAge_us: 0, link: null, board: null, armWhen: when };
    expect(mayArm(input).reasons).toContain('No row has come from the board yet.');
    expect(mayArm(input).reasons).toContain('Arming waits for the bus to be within 3 % of 7.6 V; it is not measured.');
    const drive = new Drive(judge);
    drive.state = 'safe';
    drive.silent.add('thrust').add('speed');
    drive.si.speed = 0;
    drive.row();
    expect(mayArm({ ...input, armWhen: null }).reasons).toEqual(['No thrust sample has come yet.']);
  });

  test('a condition on a channel that the rig does not have cannot be met', () => {
    const facts = FACTS.slice(0, 4);
    const drive = Drive.with({}, { facts, supply_V: null });
    drive.state = 'safe';
    drive.run(500);
    const { reasons } = mayArm({ judge: drive.judge, beatAge_us: 0, link: null, board: null, armWhen: { ...when, motor_above_degC: null, esc_below_degC: null } });
    expect(reasons).toEqual(['Arming waits for the motor temperature, which is not measured.']);
    expect(waitText(when)).toBe('Waiting at most 600 s for the conditions of `arm_when`.');
  });

  test('every reason is said at once', () => {
    const permit = resting((d) => { d.si.motor_temperature = 60; d.si.voltage = 9.2; }, { beatAge_us: 600_000, link: 'no link', board: 'tripped' });
    expect(permit.reasons).toHaveLength(6);
  });
});

describe('the permit', () => {
  test('lives on the heartbeat of the main process: 500 ms and no longer', () => {
    const drive = new Drive();
    drive.run(100);
    const at = (beatAge_us: number) => permitNow({ judge: drive.judge, beatAge_us, link: null });
    expect(at(HEARTBEAT_MAX_US)).toEqual({ granted: true, reasons: [] });
    expect(at(HEARTBEAT_MAX_US + 1).reasons).toEqual(['The main process was last heard 500 ms ago (limit 500 ms).']);
  });

  test('is gone with the first broken rule', () => {
    const drive = new Drive();
    drive.run(100);
    drive.si.voltage = 9.2;
    drive.run(10);
    expect(permitNow({ judge: drive.judge, beatAge_us: 0, link: null }).granted).toBe(false);
  });
});
