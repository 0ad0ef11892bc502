// The script of the page: raw traces with zoom. Plain JavaScript for browsers, in the page as it stands here.
// Without it, or in a browser that cannot unpack gzip, the still pictures stay.

export const PAGE_SCRIPT = String.raw`
(function () {
  'use strict';
  var box = document.getElementById('zoom');
  if (!box || typeof uPlot !== 'function') return;
  var charts = document.getElementById('zoom-charts');
  var pick = document.getElementById('zoom-run');
  var note = document.getElementById('zoom-note');
  var plots = [], range = null, whole = null, wanted = 0;

  function undo(deltas, step) {
    var out = new Float64Array(deltas.length), sum = 0;
    for (var i = 0; i < deltas.length; i++) { sum += deltas[i]; out[i] = sum * step; }
    return out;
  }
  function unpack(text) {
    var held = JSON.parse(text);
    if (!held.gzip) return Promise.resolve(held);
    var raw = atob(held.gzip), bytes = new Uint8Array(raw.length);
    for (var i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
    var stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'));
    return new Response(stream).text().then(JSON.parse);
  }
  function show(from, to, except) {
    var span = Math.max(to - from, 0.002);
    from = Math.max(whole[0], Math.min(from, whole[1] - span));
    to = Math.min(whole[1], from + span);
    range = [from, to];
    plots.forEach(function (p) { if (p !== except) p.setScale('x', { min: from, max: to }); });
  }
  function segmentsOn(data) {
    return function (u) {
      var inside = data.segments.filter(function (s) { return s[0] >= u.scales.x.min && s[0] <= u.scales.x.max; });
      if (inside.length > 24) return;
      var c = u.ctx, b = u.bbox, k = window.devicePixelRatio || 1, last = -1e9;
      c.save();
      c.strokeStyle = '#9aa29d'; c.fillStyle = '#4c555c'; c.lineWidth = k; c.setLineDash([2 * k, 3 * k]); c.textAlign = 'left'; c.textBaseline = 'alphabetic'; c.font = 10 * k + 'px system-ui, sans-serif';
      inside.forEach(function (s) {
        var x = u.valToPos(s[0], 'x', true);
        c.beginPath(); c.moveTo(x, b.top); c.lineTo(x, b.top + b.height); c.stroke();
        var wide = c.measureText(s[1]).width;
        if (x > last && x + wide + 6 * k < b.left + b.width) { c.fillText(s[1], x + 3 * k, b.top + 11 * k); last = x + wide + 8 * k; }
      });
      c.restore();
    };
  }
  function build(data) {
    plots.forEach(function (p) { p.destroy(); });
    plots = [];
    charts.textContent = '';
    var sync = uPlot.sync('traces'), busy = false;
    var sets = data.series.map(function (s) { return { t: undo(s.t, 1e-6), v: undo(s.v, s.step) }; });
    whole = sets.reduce(function (a, s) { return [Math.min(a[0], s.t[0]), Math.max(a[1], s.t[s.t.length - 1])]; }, [Infinity, -Infinity]);
    data.series.forEach(function (s, i) {
      var last = i === data.series.length - 1;
      var options = {
        width: charts.clientWidth - 10, padding: [10, 16, last ? 0 : 10, 0], height: last ? 166 : 140, title: s.name + (s.unit ? ', ' + s.unit : '') + (s.all ? '' : ' (lowest and highest of each stretch)') + (data.mark ? '   ' + data.mark : ''),
        cursor: { sync: { key: sync.key }, drag: { x: true, y: false }, y: false }, legend: { show: true },
        scales: i === 0 ? { x: { time: false }, y: { range: [0, 130] } } : { x: { time: false } },
        series: [{ label: 'time, s', value: function (u, v) { return v == null ? '' : v.toFixed(4); } },
          { label: s.name, stroke: s.colour, width: 1.2, points: { show: false }, value: function (u, v) { return v == null ? '' : v.toPrecision(5) + ' ' + s.unit; } }],
        axes: [{ show: last, stroke: '#1d2226', grid: { stroke: '#dfe2dd', width: 1 }, ticks: { stroke: '#c9cdc8' } }, { stroke: '#1d2226', size: 58, grid: { stroke: '#dfe2dd', width: 1 }, ticks: { stroke: '#c9cdc8' } }],
        hooks: { setScale: [function (u, key) {
          if (key !== 'x' || busy || u.status !== 1) return;
          busy = true; show(u.scales.x.min, u.scales.x.max, u); busy = false;
        }], draw: i === 0 ? [segmentsOn(data)] : [] }
      };
      plots.push(new uPlot(options, [sets[i].t, sets[i].v], charts));
    });
    busy = true; show(whole[0], whole[1]); busy = false;
    note.textContent = 'Run ' + data.run + ', record SHA-256 ' + data.sha256.slice(0, 16) + '…';
  }
  function load() {
    var mine = ++wanted;
    note.textContent = 'Unpacking …';
    return unpack(document.getElementById('trace-' + pick.value).textContent).then(function (data) { if (mine === wanted) build(data); });
  }
  function step(what) {
    if (!whole || !range) return;
    var a = range[0], b = range[1], w = b - a, m = (a + b) / 2;
    if (what === 'in') show(m - w / 4, m + w / 4);
    else if (what === 'out') show(m - w, m + w);
    else if (what === 'left') show(a - w / 2, b - w / 2);
    else if (what === 'right') show(a + w / 2, b + w / 2);
    else show(whole[0], whole[1]);
  }
  box.hidden = false;
  load().then(function () {
    document.documentElement.classList.add('zooms');
    pick.addEventListener('change', load);
    box.addEventListener('click', function (e) { var what = e.target.getAttribute && e.target.getAttribute('data-zoom'); if (what) step(what); });
    window.addEventListener('resize', function () { plots.forEach(function (p) { p.setSize({ width: charts.clientWidth - 10, height: p.height }); }); });
  }).catch(function () { box.hidden = true; document.documentElement.classList.remove('zooms'); });
})();
`;
