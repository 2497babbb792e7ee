// Evaluated in a page: a list of what is wrong with it. The rules are told in looked_at.py.
() => {
  const out = [];
  const shown = e => { const r = e.getBoundingClientRect(); const s = getComputedStyle(e);
    return r.width > 0 && r.height > 0 && s.visibility !== 'hidden' && !e.closest('.skip'); };
  const name = e => e.getAttribute('aria-label') || (e.labels && [...e.labels].map(l => l.textContent).join(' ').trim())
    || e.textContent.trim() || e.title || (e.querySelector && e.querySelector('img[alt]') || {}).alt || '';
  const told = e => e.outerHTML.slice(0, 90);
  if (document.documentElement.scrollWidth > innerWidth) out.push('wider than the screen');
  if (!document.documentElement.lang) out.push('no language');
  if (!document.title) out.push('no title');
  if (document.querySelectorAll('h1').length !== 1) out.push('not one h1');
  if (document.querySelectorAll('main').length !== 1) out.push('not one main');
  let level = 0;
  for (const h of document.querySelectorAll('h1, h2, h3, h4')) {
    const now = +h.tagName[1];
    if (now > level + 1) out.push('heading skipped: ' + told(h));
    level = now;
  }
  const ids = new Set();
  for (const e of document.querySelectorAll('[id]')) { if (ids.has(e.id)) out.push('id twice: ' + told(e)); ids.add(e.id); }
  for (const e of document.querySelectorAll('[aria-describedby], [aria-labelledby]'))
    for (const key of ['aria-describedby', 'aria-labelledby'])
      for (const id of (e.getAttribute(key) || '').split(' ').filter(Boolean)) if (!ids.has(id)) out.push('names nothing: ' + told(e));
  for (const e of document.querySelectorAll('a[href], button, summary, select, textarea, input:not([type=hidden])')) {
    if (!shown(e)) continue;
    if (!name(e)) out.push('no name: ' + told(e));
    const box = (e.closest('label') || e).getBoundingClientRect();
    if (box.height < 43.5 || box.width < 24) out.push('small: ' + told(e));
    if (e.tabIndex < 0) out.push('not by keyboard: ' + told(e));
  }
  for (const e of document.querySelectorAll('img')) if (!e.hasAttribute('alt')) out.push('no alt: ' + told(e));
  for (const e of document.querySelectorAll('main svg')) if (!e.getAttribute('role') && !e.hasAttribute('aria-hidden')) out.push('drawing without a role: ' + told(e));
  for (const e of document.querySelectorAll('th')) if (!e.scope) out.push('th without scope: ' + told(e));
  const light = c => { const [r, g, b] = c.map(v => { v /= 255; return v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4; });
    return .2126 * r + .7152 * g + .0722 * b; };
  const parts = s => (s.match(/[\d.]+/g) || []).map(Number);
  const ground = e => { for (; e; e = e.parentElement) { const c = parts(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] > .99) return c.slice(0, 3); } return [255, 255, 255]; };
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('svg') || !shown(e) || ![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const s = getComputedStyle(e), a = light(parts(s.color).slice(0, 3)), b = light(ground(e));
    const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05), size = parseFloat(s.fontSize);
    const least = size >= 24 || (size >= 18.66 && +s.fontWeight >= 600) ? 3 : 4.5;
    if (ratio < least) out.push('contrast ' + ratio.toFixed(2) + ': ' + told(e));
  }
  for (const svg of document.querySelectorAll('main svg')) {
    const paper = svg.getBoundingClientRect();
    const said = [...svg.querySelectorAll('text')].map(t => [t.textContent.trim(), t.getBoundingClientRect()]).filter(([w, r]) => w && r.width);
    said.forEach(([words, r], i) => {
      if (r.left < paper.left - 2 || r.right > paper.right + 2 || r.top < paper.top - 3 || r.bottom > paper.bottom + 3) out.push('off the paper: ' + words);
      for (const [other, q] of said.slice(i + 1)) {
        const across = Math.min(r.right, q.right) - Math.max(r.left, q.left), high = Math.min(r.bottom, q.bottom) - Math.max(r.top, q.top);
        if (across > 1.5 && high > 3.5) out.push(`words over words: ${words}, ${other}`); // boxes of lines touch, ink does not
      }
    });
  }
  return out;
}
