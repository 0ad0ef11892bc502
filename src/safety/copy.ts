// A deep copy that keeps classes and shared references: what makes the in-place judge a pure function.

/** Copies plain data, class instances, arrays, maps and typed arrays; two references to one object stay one. */
export function copy<T>(value: T): T {
  return copyOf(value, new Map()) as T;
}

function copyOf(value: unknown, done: Map<object, unknown>): unknown {
  if (typeof value !== 'object' || value === null) return value;
  const known = done.get(value);
  if (known !== undefined) return known;
  if (ArrayBuffer.isView(value)) {
    const twin = (value as Float64Array).slice();
    done.set(value, twin);
    return twin;
  }
  if (value instanceof Map) {
    const twin = new Map<unknown, unknown>();
    done.set(value, twin);
    for (const [key, item] of value) twin.set(key, copyOf(item, done));
    return twin;
  }
  const twin = (Array.isArray(value) ? [] : Object.create(Object.getPrototypeOf(value) as object)) as Record<string, unknown>;
  done.set(value, twin);
  for (const [key, item] of Object.entries(value)) twin[key] = copyOf(item, done);
  return twin;
}
