(what) => {
  const faults = [];
  const box = (one) => one.getBoundingClientRect();
  const seen = (one) => box(one).width > 0 && box(one).height > 0;
  const must = ["#now", "#next", "#neck", "#play", ...(what === "stand" ? ["#neck-next", "#turn"] : [])];
  for (const name of must) {
    const one = document.querySelector(name);
    const { left, right, top, bottom } = box(one);
    if (!seen(one)) faults.push(`${name} is not shown`);
    if (left < -1 || top < -1 || right > innerWidth + 1 || bottom > innerHeight + 1) faults.push(`${name} is cut off`);
    const [x, y] = [(left + right) / 2, (top + bottom) / 2];
    const hit = document.elementFromPoint(x, y);
    if (!hit || !(one.contains(hit) || hit.contains(one))) faults.push(`${name} is covered by ${hit?.id || hit?.className}`);
  }
  const apart = ["#now", "#lead", "#next", "#pulse", "#turn", ".stage .stepper", "#neck", "#neck-next", ".status", "#changes", ".dock"];
  const shown = apart.map((name) => document.querySelector(name)).filter(seen);
  shown.forEach((a, at) => shown.slice(at + 1).forEach((b) => {
    const wide = Math.min(box(a).right, box(b).right) - Math.max(box(a).left, box(b).left);
    const high = Math.min(box(a).bottom, box(b).bottom) - Math.max(box(a).top, box(b).top);
    if (wide > 1 && high > 1) faults.push(`${a.id || a.className} and ${b.id || b.className} overlap`);
  }));
  if (document.documentElement.scrollWidth > innerWidth || scrollY > 0) faults.push("the page scrolls");
  const neck = box(document.querySelector("#neck"));
  if (neck.height < 80 || neck.width < 150) faults.push(`the neck is ${neck.width} by ${neck.height}`);
  if (what === "chords") {
    for (const one of document.querySelectorAll(".chords > span")) {
      const end = one.nextElementSibling ? box(one.nextElementSibling).left : box(one.closest("li")).right;
      if (box(one).right > end + 1) faults.push(`${one.textContent} runs over`);
    }
  }
  return faults;
}
