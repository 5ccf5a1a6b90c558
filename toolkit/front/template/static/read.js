// One lesson as a page: put what its cells show into its place, and say in plain words how that goes.
//
// `data-gp-state` tells the page's state to style sheets and tests: preparing, ready or failed.

import { enterPresses } from './keys.js';
import { keepNamed } from './names.js';
import { keepInSight } from './sight.js';

const NO_KERNEL = 'The bench could not start. Read on, or press "Start again" to try once more.';
const CELL_FAILED =
  'A part of this lesson did not work, so the page is not complete. Press "Start again". If that does not help, ' +
  'tell your instructor which lesson it is.';
// Drawing takes a second or two; what is not there after this will not come any more.
const LONGEST_DRAWING_MS = 60_000;
const NOT_DRAWN = 'script[type="application/vnd.voila.cell-output+json"], .jp-OutputArea-output:not(:has(*))';
const NO_LONGER_THERE = ['dead', 'restarting', 'autorestarting'];

const lesson = document.querySelector('.gp-lesson');
const status = lesson.querySelector('.gp-status');
// What a stopped bench means where this page is served.
const GONE = lesson.dataset.gpGone;

async function open() {
  keepNamed(document.body);
  enterPresses(document.body);
  keepInSight(document.body);
  document.body.addEventListener('click', event => event.target.closest('.gp-print-button') && window.print());
  const button = status.querySelector('button');
  button.addEventListener('click', () => location.reload());
  // A page that comes back out of the browser's memory has lost its kernel.
  window.addEventListener('pageshow', event => event.persisted && location.reload());
  // The kernel's name stands in the page as soon as there is one.
  if (!document.getElementById('jupyter-config-data')) {
    tell('failed', NO_KERNEL);
    return;
  }
  putInPlace();
  const whole = document.querySelector('[data-gp-complete]') && !document.querySelector('[data-gp-failed]');
  const drawn = await allDrawn();
  if (whole && drawn) {
    tell('ready', '');
    keepWatch();
  } else {
    tell('failed', CELL_FAILED);
  }
}

function tell(state, sentence) {
  lesson.dataset.gpState = state;
  status.hidden = !sentence;
  status.querySelector('button').hidden = state !== 'failed';
  status.querySelector('[role=status]').textContent = sentence;
}

// What the cells show is sent last. The script that draws it runs later still, and draws it where it finds it.
function putInPlace() {
  for (const shown of document.querySelectorAll('template[data-gp-cell]')) {
    document.getElementById(shown.dataset.gpCell).append(shown.content);
  }
}

// Waits until nothing is left to draw. Gives whether all of it was drawn, in time and without a control that failed.
function allDrawn() {
  return new Promise(resolve => {
    const end = drawn => {
      clearTimeout(late);
      watch.disconnect();
      resolve(drawn && !lesson.querySelector('.jupyter-widgets-error-widget'));
    };
    const look = () => lesson.querySelector(NOT_DRAWN) || end(true);
    const late = setTimeout(() => end(false), LONGEST_DRAWING_MS);
    const watch = new MutationObserver(look);
    watch.observe(lesson, { childList: true, subtree: true });
    look();
  });
}

// The kernel may fall over, or the course be ended, while the page is open.
function keepWatch() {
  const kernel = window.jupyterapp?.widgetManager?.kernel;
  let lost = false;
  kernel?.statusChanged.connect((_, now) => {
    if (NO_LONGER_THERE.includes(now)) {
      lost = true;
      tell('failed', GONE);
    }
  });
  kernel?.connectionStatusChanged.connect((_, now) => {
    if (!lost) {
      now === 'connected' ? tell('ready', '') : tell('failed', GONE);
    }
  });
}

open();
