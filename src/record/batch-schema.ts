// Self-description of the batches: a protobuf FileDescriptorSet that any MCAP reader can decode with.
// Source of the numbers: google/protobuf/descriptor.proto, published with Protocol Buffers.
import { countsField, FIELD, type RateGroup } from './layout';
import { ProtoWriter } from './protobuf';

export const PACKAGE = 'spoolbench';

// Members of the descriptor messages that are used here.
const SET_FILE = 1;
const FILE = { name: 1, package: 2, message: 4, syntax: 12 } as const;
const MESSAGE = { name: 1, field: 2 } as const;
const MEMBER = { name: 1, number: 3, label: 4, type: 5, jsonName: 10 } as const;
const LABEL = { optional: 1, repeated: 3 } as const;
const TYPE = { fixed64: 6, fixed32: 7, bytes: 12, sfixed32: 15 } as const;

type Member = readonly [name: string, number: number, label: keyof typeof LABEL, type: keyof typeof TYPE];

/** Members of a group's batch, in the order in which they are written. */
export function batchMembers(group: RateGroup): Member[] {
  return [
    ['first_tick_us', FIELD.first_tick_us, 'optional', 'fixed64'],
    ['step_us', FIELD.step_us, 'repeated', 'sfixed32'],
    ...(group.is_rows
      ? ([
          ['throttle', FIELD.throttle, 'repeated', 'fixed32'],
          ['state', FIELD.state, 'optional', 'bytes'],
          ['ordinal', FIELD.ordinal, 'repeated', 'fixed32'],
        ] as const)
      : []),
    ['fresh', FIELD.fresh, 'optional', 'bytes'],
    ['valid', FIELD.valid, 'optional', 'bytes'],
    ...group.channels.map((c) => [countsField(c), FIELD.COUNTS + c.id, 'repeated', 'sfixed32'] as const),
  ];
}

/** The schema as text, for people: what the binary descriptor says, as a .proto file. */
export function protoText(groups: readonly RateGroup[]): string {
  const body = groups.map((g) => {
    const lines = batchMembers(g).map(([name, number, label, type]) => `  ${label === 'repeated' ? 'repeated ' : ''}${type} ${name} = ${number};`);
    return `message ${g.message} {\n${lines.join('\n')}\n}\n`;
  });
  return `syntax = "proto3";\npackage ${PACKAGE};\n\n${body.join('\n')}`;
}

/** Serialized FileDescriptorSet with the message of one group. */
export function descriptorSet(group: RateGroup): Uint8Array {
  const message = build((w) => {
    w.stringField(MESSAGE.name, group.message);
    for (const [name, number, label, type] of batchMembers(group)) {
      w.bytesField(MESSAGE.field, build((f) => {
        f.stringField(MEMBER.name, name);
        f.varintField(MEMBER.number, number);
        f.varintField(MEMBER.label, LABEL[label]);
        f.varintField(MEMBER.type, TYPE[type]);
        f.stringField(MEMBER.jsonName, name);
      }));
    }
  });
  const file = build((w) => {
    w.stringField(FILE.name, `${PACKAGE}/${group.message}.proto`);
    w.stringField(FILE.package, PACKAGE);
    w.bytesField(FILE.message, message);
    w.stringField(FILE.syntax, 'proto3');
  });
  return build((w) => {
    w.bytesField(SET_FILE, file);
  });
}

function build(fill: (w: ProtoWriter) => void): Uint8Array {
  const w = new ProtoWriter();
  fill(w);
  return w.written().slice();
}
