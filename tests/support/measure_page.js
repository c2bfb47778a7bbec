// Measures the page that it stands in: put into copies of pages by tests.
(() => {
  const width = document.documentElement.getBoundingClientRect().width;
  const rgb = (text) => (text.match(/[\d.]+/g) || []).map(Number);
  const luminance = ([r, g, b]) => {
    const linear = (v) => ((v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
  };
  // WCAG 2.2, relative luminance and contrast ratio.
  const contrast = (a, b) => {
    const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  const groundOf = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const colour = rgb(getComputedStyle(at).backgroundColor);
      if (colour.length === 3 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const isIn = (a, b, by) =>
    a.left < b.right - by && b.left < a.right - by && a.top < b.bottom - by && b.top < a.bottom - by;

  // Every line of words, with where it stands.
  const words = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const holder = node.parentElement;
    if (!node.data.trim() || holder.closest("script,style,title,desc")) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const inPicture = holder.closest("svg");
    const boxes = inPicture ? [holder.getBoundingClientRect()] : [...range.getClientRects()];
    for (const box of boxes) {
      if (box.width > 0) words.push({ node, holder, box, inPicture, text: node.data.slice(0, 60) });
    }
  }

  const outside = [];
  const faint = [];
  for (const it of words) {
    const frame = it.inPicture ? it.inPicture.getBoundingClientRect() : { left: 0, right: width, top: 0, bottom: Infinity };
    const { left, right, top, bottom } = it.box;
    if (left < frame.left - 1 || right > frame.right + 1 || top < frame.top - 3 || bottom > frame.bottom + 3 || right > width + 1) {
      outside.push([it.text, left, right, top, bottom]);
    }
    const style = getComputedStyle(it.holder);
    const colour = rgb(it.inPicture ? style.fill : style.color);
    const grounds = [groundOf(it.holder)];
    if (it.inPicture) {
      for (const zone of it.inPicture.querySelectorAll("rect.zone,rect.after-mark")) {
        if (isIn(zone.getBoundingClientRect(), it.box, 1)) grounds.push(rgb(getComputedStyle(zone).fill));
      }
    }
    const scale = it.inPicture ? it.inPicture.getBoundingClientRect().width / it.inPicture.viewBox.baseVal.width : 1;
    const size = parseFloat(style.fontSize) * scale;
    const isLarge = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    const least = Math.min(...grounds.map((ground) => contrast(colour, ground)));
    if (least < (isLarge ? 3 : 4.5)) faint.push([it.text, least]);
  }
  if (document.documentElement.scrollWidth > Math.max(width, innerWidth) + 1) {
    outside.push(["the page", document.documentElement.scrollWidth]);
  }

  const overlaps = [];
  // Lines of one text touch each other by their leading; letters of two must not.
  for (let a = 0; a < words.length; a += 1) {
    for (let b = a + 1; b < words.length; b += 1) {
      const [one, other] = [words[a], words[b]];
      if (one.node === other.node) continue;
      const by = one.inPicture || other.inPicture ? 3 : 2;
      if (isIn(one.box, other.box, by)) overlaps.push([one.text, other.text]);
    }
  }
  const figures = [...document.querySelectorAll("svg")].map((it) => it.getBoundingClientRect());
  figures.forEach((figure, nth) => {
    if (figure.left < -1 || figure.right > width + 1) outside.push(["a picture", figure.left, figure.right]);
    if (figures.some((other, at) => at > nth && isIn(figure, other, 1))) overlaps.push(["two pictures", nth]);
    for (const it of words) if (!it.inPicture && isIn(figure, it.box, 2)) overlaps.push(["a picture", it.text]);
  });

  // What could run; this script is the only one.
  const runs = [];
  for (const it of document.querySelectorAll("*")) {
    for (const { name, value } of it.attributes) {
      if (name.startsWith("on") || /javascript:/i.test(value) && (name === "href" || name === "src")) runs.push([it.tagName, name]);
    }
  }
  for (const it of document.querySelectorAll("script,iframe,object,embed,link,img,form")) {
    if (it !== document.currentScript) runs.push([it.tagName]);
  }

  const found = document.createElement("pre");
  found.id = "measured";
  found.textContent = JSON.stringify({
    outside, overlaps, faint, runs, words: words.length,
    dark: matchMedia("(prefers-color-scheme:dark)").matches,
  });
  document.body.append(found);
})();
