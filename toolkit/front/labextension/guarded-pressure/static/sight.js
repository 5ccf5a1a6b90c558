// The switch to a projector's sizes makes the page grow above the bench too. What is looked at stays in sight: the
// bench where it is open, else the switch where it was.

const SWITCH = '.gp-switch';
const BENCH = '.gp-panel';
// Letters, pictures and controls take their new sizes one after the other.
const SETTLING_MS = 2500;
const BY_HAND = ['wheel', 'touchstart', 'pointerdown', 'keydown'];

export function keepInSight(root) {
  root.addEventListener('click', event => {
    const pressed = event.target instanceof Element && event.target.closest(SWITCH);
    const bench = pressed && pressed.parentElement.querySelector(BENCH);
    if (bench) {
      hold(bench, () => Math.max(0, scrollerOf(bench).getBoundingClientRect().top));
    } else if (pressed) {
      const before = pressed.getBoundingClientRect().top;
      hold(pressed, () => before);
    }
  });
}

// Scrolls until the page has settled, or somebody else scrolls.
function hold(kept, place) {
  const end = performance.now() + SETTLING_MS;
  let held = true;
  const letGo = () => {
    held = false;
    BY_HAND.forEach(kind => window.removeEventListener(kind, letGo, true));
  };
  BY_HAND.forEach(kind => window.addEventListener(kind, letGo, true));
  const look = now => {
    if (!held || now > end || !kept.isConnected) {
      letGo();
      return;
    }
    const off = kept.getBoundingClientRect().top - place();
    if (Math.abs(off) >= 1) {
      scrollerOf(kept).scrollTop += off;
    }
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}

function scrollerOf(element) {
  for (let one = element.parentElement; one; one = one.parentElement) {
    if (one.scrollHeight > one.clientHeight && ['auto', 'scroll'].includes(getComputedStyle(one).overflowY)) {
      return one;
    }
  }
  return document.scrollingElement;
}
