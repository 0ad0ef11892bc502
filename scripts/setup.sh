# Shared by scripts/demo and scripts/test: installs the locked packages once and builds the controller core.
# Needs Node >= 20.19, npm and git; nothing else.
set -euo pipefail
cd "$(dirname "$0")/.."
if ! command -v node >/dev/null 2>&1; then
  echo "Node.js is missing. Install Node.js 20.19 or newer, then run this again." >&2
  exit 2
fi
if ! node -e 'const [a, b] = process.versions.node.split(".").map(Number); process.exit(a > 20 || (a === 20 && b >= 19) ? 0 : 1)'; then
  echo "Node.js $(node --version) is too old: 20.19 or newer is needed." >&2
  exit 2
fi
# The lock file's fingerprint decides whether node_modules is up to date.
stamp=node_modules/.spoolbench-lock
now=$(git hash-object package-lock.json)
if [ ! -f "$stamp" ] || [ "$(cat "$stamp")" != "$now" ]; then
  echo "Installing the locked packages (once) ..." >&2
  npm ci --no-audit --no-fund --loglevel=error >&2
  echo "$now" > "$stamp"
fi
node scripts/build-core.mjs
