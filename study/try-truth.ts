import { truthsOf } from './truth/truth';
const t0 = process.cpuUsage().user;
const t = await truthsOf((process.argv[2] ?? 'scout') as 'scout');
for (const [s, m] of Object.entries(t)) for (const [k, v] of Object.entries(m)) console.log(s.padEnd(9), k.padEnd(36), v.value.toPrecision(6).padEnd(12), (v.perThrust / v.value).toFixed(3), (v.perTorque / v.value).toFixed(3));
console.log((process.cpuUsage().user - t0) / 1e6);
