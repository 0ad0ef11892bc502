// The person at the terminal who puts on masses and reads meters. Esc or Ctrl-C leaves; what was taken is kept.
import { confirm, isCancel, text } from '@clack/prompts';
import type { Guide } from '../app/calibrate/calibrate';
import { readingDimension } from '../app/calibrate/guides';
import type { Target } from '../app/calibrate/plan';
import { parseQuantity } from '../units';

export function terminalGuide(channel: Target): Guide {
  const io = { input: process.stdin, output: process.stderr };
  const dimension = readingDimension(channel);
  return {
    lacks: () => [],
    apply: async (step, n, of) => {
      const head = `Step ${n} of ${of}: ${step.instruction}`;
      if (step.asks === null) {
        for (;;) {
          const done = await confirm({ message: `${head} Done?`, active: 'yes', inactive: 'not yet', initialValue: true, ...io });
          if (isCancel(done)) return 'stop';
          if (done) return step.target;
        }
      }
      const reading = await text({
        message: `${head}\n${step.asks}:`,
        validate: (v) => {
          const parsed = parseQuantity((v ?? '').trim(), dimension);
          return parsed.ok ? undefined : `${parsed.message}; accepted: ${parsed.accepted}`;
        },
        ...io,
      });
      if (isCancel(reading)) return 'stop';
      const parsed = parseQuantity(reading.trim(), dimension);
      return parsed.ok ? (parsed.value) : 'stop';
    },
  };
}
