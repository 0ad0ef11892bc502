// `rig check`: from a rig that nobody has tried to one that is known, in the order in which trust grows. What fails stops the rest.
import { levelReading } from '../../analysis/commissioning/spin';
import { stamp } from '../../host/wall-clock';
import type { Finding, LayerProof, RigCheck } from '../../model/rig-check';
import { isSimulated } from '../../model/simulated';
import { formatNumber } from '../../units';
import type { ReadyCampaign } from '../prepare';
import { versions } from '../version';
import { duringCheck, type CheckOptions } from './during';
import { fail, notChecked } from './finding';
import { restFindings } from './findings-rest';
import { fullThrottleProblem, POLES, polesFinding, spinFindings, thrustFindings } from './findings-spin';
import { resonanceFinding, stiffnessFinding, tapProblem } from './findings-supply';
import { trialsFor, tryLayer } from './proof';
import type { World } from '../world';
import type { CheckSession, Played } from './session';
import { keepCheck, lastPassed, rigDigest } from './store';

export interface CheckEnd {
  readonly check: RigCheck;
  /** Where it was written. */
  readonly path: string;
  readonly stopped: boolean;
}

/** What stands on the screen before the first spin. */
const CAUTIONS = 'Guard closed, nobody in the propeller’s plane, eye protection on, propeller tight, stand fixed, a hand on the switch that cuts the power. Local rules and qualified people come first.';

/** The simulated stand is tapped so long after it has come to rest, s. */
const TAP_AFTER_S = 2;

/** A person said stop. */
class Stopped extends Error {}

/**
 * Checks a rig and writes what it found as a new file in the bench folder.
 * @throws BadInput with every problem of the bench's files, or when the board does not answer
 */
export async function checkRig(options: CheckOptions): Promise<CheckEnd> {
  return await duringCheck(options, 'check-rest', 'rig-check', async ({ ready, session, records, now, asked }) => {
    const steps = new Steps(session, ready, options, asked);
    await steps.all();
    const check: RigCheck = {
      spoolbench: 1, rig_check: ready.rig.name, at: stamp(now()), simulated: isSimulated(ready.rig), version: versions().spoolbench,
      rig_sha256: rigDigest(ready.rig), records, findings: steps.findings, layers: steps.layers, proven: steps.proven,
    };
    return { check, path: keepCheck(options.bench, check, now()), stopped: asked() || steps.stopped };
  });
}

class Steps {
  readonly findings: Finding[] = [];
  readonly layers: LayerProof[] = [];
  proven = false;
  stopped = false;
  private readonly set: readonly string[];

  constructor(private readonly session: CheckSession, private readonly ready: ReadyCampaign, private readonly options: CheckOptions, private readonly asked: () => boolean) {
    const { throttle } = ready.rig;
    this.set = [`bump=${formatNumber(100 * throttle.bump, 6)} %`];
  }

  async all(): Promise<void> {
    try {
      await this.atRest();
      if (this.failed()) return this.rest('the rig at rest is not as declared');
      await this.ask('Take the propeller off. May the motor turn slowly?', CAUTIONS);
      const bump = await this.firstSpin();
      if (this.failed()) return this.rest('the first spin is not as it should be');
      await this.prove(bump);
      if (this.failed()) return this.rest('the motor could not be stopped as it should be');
      await this.fullThrottle();
      if (this.failed()) return this.rest('speed, voltage and KV do not fit together');
      if (this.ready.article.propeller.mounted) {
        await this.ask('Power off, put the propeller on the right way up, power on. May the motor turn slowly?', CAUTIONS);
        await this.withPropeller();
        if (this.failed()) return this.rest('the spin with the propeller is not as it should be');
        await this.hardSteps();
      }
      await this.tap();
    } catch (error) {
      if (!(error instanceof Stopped)) throw error;
      this.stopped = true;
      this.proven = false;
      this.rest('the check was stopped');
    }
  }

  private async atRest(): Promise<void> {
    this.say('At rest: noise, drift, sample rates (10 s)');
    const played = await this.session.play('check-rest');
    this.add(played, (data) => restFindings(data, this.ready.rig, this.ready.article.nominal_voltage_V));
  }

  private async firstSpin() {
    const { throttle } = this.ready.rig;
    this.say(`First spin: ${throttle.idle > 0 ? 'half of idle, idle, ' : ''}a bump at ${formatNumber(100 * throttle.bump, 3)} %`);
    const set = [...this.set, `idle=${formatNumber(100 * throttle.idle, 6)} %`, `boot=${throttle.boot_wait_s} s`];
    const played = await this.session.play('check-spin', { set, propeller: false });
    this.add(played, (data) => spinFindings(data, this.ready.rig));
    return played.data === null ? null : levelReading(played.data, 'bump');
  }

  private async prove(bump: Awaited<ReturnType<Steps['firstSpin']>>): Promise<void> {
    if (bump === null) return;
    const trials = trialsFor(this.ready.rig, bump, (text) => { this.options.person.tell(text); });
    for (const trial of trials) {
      this.say(`Proof: ${trial.layer} alone stops the motor`);
      const proof = await tryLayer(this.session, trial, this.set);
      this.layers.push(proof);
      if (this.asked()) throw new Stopped();
      // A layer that does not stop the motor is no reason to try the next one on it.
      if (proof.verdict === 'fail') return;
    }
    this.proven = trials.length > 0 && this.layers.every((l) => l.verdict === 'pass');
  }

  /** Without a propeller and with the stops proven: the one point where speed, voltage and KV are known to fit. */
  private async fullThrottle(): Promise<void> {
    const { rig, article } = this.ready;
    const reason = fullThrottleProblem(rig, article);
    if (reason !== null) {
      this.findings.push(notChecked('poles', POLES, reason));
      return;
    }
    await this.ask('It can be stopped. May it go up to full throttle for a second, still without a propeller?', CAUTIONS);
    this.say('Full throttle, softly, no propeller');
    const played = await this.session.play('check-full', { propeller: false });
    this.add(played, (data) => [polesFinding(data, article)]);
  }

  private async withPropeller(): Promise<void> {
    this.say('With the propeller: direction of thrust');
    const played = await this.session.play('check-spin', { set: this.set, propeller: true });
    const before = lastPassed(this.options.bench, this.ready.rig, 'propeller');
    const ct = before?.finding.values.ct ?? null;
    this.add(played, (data) => thrustFindings(data, this.ready.article, before === null || ct === null ? null : { ct, at: before.at }));
  }

  private async hardSteps(): Promise<void> {
    const { rig, article } = this.ready;
    const title = 'Supply is stiff: dip under a step, rise on braking';
    if (rig.sink.kind === 'none') {
      this.findings.push(notChecked('stiffness', title, 'the rig declares no sink: braking would pump up the bus'));
      return;
    }
    this.say('Supply: hard steps');
    const played = await this.session.play('check-steps', { set: [`low=${formatNumber(100 * rig.throttle.bump, 6)} %`] });
    this.add(played, () => [stiffnessFinding(played.stiffness, rig, article.nominal_voltage_V)]);
  }

  /** A person taps a real stand; the simulated one is tapped by the program. */
  private async tap(): Promise<void> {
    const { rig, article } = this.ready;
    const volts = article.nominal_voltage_V;
    if (tapProblem(rig) !== null) {
      this.findings.push(resonanceFinding(null, rig, article, volts));
      return;
    }
    const byHand = rig.link.kind !== 'twin';
    if (byHand) await this.ask('Tap the stand once beside the load cell, two seconds after you say yes. Ready?', 'The motor stays still.');
    const cause = { during: 'check-rest', after_s: TAP_AFTER_S, act: (world: World) => world.tapStand?.() ?? false };
    const played = await this.session.play('check-rest', { set: ['time=6 s'], ...(byHand ? {} : { cause }) });
    this.add(played, (data) => [resonanceFinding(data, rig, article, volts)]);
  }

  /** Findings of a run; a run that did not come to its end is one itself. */
  private add(played: Played, findings: (data: NonNullable<Played['data']>) => readonly Finding[]): void {
    const { outcome, data, ready } = played;
    if (this.asked()) throw new Stopped();
    const name = [...ready.protocols.keys()].join();
    if (outcome.outcome !== 'done' || data === null) this.findings.push(fail(name, `Run ${name}`, `it ended as ${outcome.outcome}: ${outcome.detail}`, 'look at the record and at the cause of the trip'));
    else this.findings.push(...findings(data));
  }

  private failed(): boolean {
    return [...this.findings, ...this.layers].some((f) => f.verdict === 'fail');
  }

  private rest(why: string): void {
    this.findings.push(notChecked('rest-of-check', 'What was still to come', `left out: ${why}`));
  }

  private async ask(question: string, detail: string): Promise<void> {
    if (await this.options.person.ask(question, detail) !== 'yes') throw new Stopped();
  }

  private say(text: string): void {
    this.options.reporter.note(text);
  }
}

