// One opened lesson: wait for its kernel, run it from top to bottom, and say in plain words how that goes.
//
// `data-gp-state` on the panel tells the page's state to style sheets and tests: preparing, ready or failed.

const PREPARING = 'Getting the bench ready...';
const NO_KERNEL =
  'The bench could not start. Press "Start again". If that does not help, close this page, ' +
  'press Ctrl-C in the window where you typed "course", and type it again.';
const CELL_FAILED =
  'A part of this lesson did not work, so the page is not complete. Press "Start again". If that does not help, ' +
  'tell your instructor which lesson it is. The menu "View", "Show or hide the code", shows the reason.';

export function openLesson(panel, CodeCell) {
  const session = panel.context.sessionContext;
  const status = makeStatus(panel.node, startAgain);
  let run = 0;

  panel.addClass('gp-lesson');
  showCode(panel, false);
  keepUnchanged(panel.context.model);
  noEditingByDoubleClick(panel);

  async function prepare(kernelReady) {
    const mine = ++run;
    const tell = (state, sentence) => {
      if (mine === run && !panel.isDisposed) {
        panel.node.dataset.gpState = state;
        status.show(sentence, state === 'failed');
      }
    };
    tell('preparing', PREPARING);
    try {
      await kernelReady();
      if (!session.session || !session.session.kernel) {
        throw new Error('no kernel');
      }
    } catch (reason) {
      console.error(reason);
      tell('failed', NO_KERNEL);
      return;
    }
    const complete = await runAll(panel, CodeCell, () => mine === run);
    tell(complete ? 'ready' : 'failed', complete ? '' : CELL_FAILED);
  }

  // Where no kernel ever came, the controls' own script has given up on this page too: only a new page helps.
  function startAgain() {
    if (session.session && session.session.kernel) {
      prepare(() => session.restartKernel());
    } else {
      window.location.reload();
    }
  }

  // A kernel that was restarted (from the menu, or after it fell over) knows nothing of the lesson any more.
  let restarted = false;
  session.statusChanged.connect((_, kernelStatus) => {
    if (kernelStatus === 'dead') {
      run += 1;
      panel.node.dataset.gpState = 'failed';
      status.show(NO_KERNEL, true);
    } else if (kernelStatus === 'restarting' || kernelStatus === 'autorestarting') {
      restarted = panel.node.dataset.gpState !== 'preparing';
    } else if (kernelStatus === 'idle' && restarted) {
      restarted = false;
      prepare(() => session.ready);
    }
  });
  // One that was chosen by hand after none would start.
  session.kernelChanged.connect((_, change) => {
    if (change.newValue && !change.oldValue && panel.node.dataset.gpState === 'failed') {
      window.location.reload();
    }
  });

  return prepare(() => session.ready);
}

// Shows or hides the code and the tools for it.
export function showCode(panel, shown) {
  panel.toggleClass('gp-code', shown);
  panel.toolbar.setHidden(!shown);
}

// Runs the code cells in order and stops at the first that fails. Gives whether all of them went well.
// Cell by cell and not by the menu's command, which acts on whatever page is in front and scrolls to its end.
async function runAll(panel, CodeCell, wanted) {
  for (const cell of panel.content.widgets) {
    if (panel.isDisposed || !wanted()) {
      return false;
    }
    if (!(cell instanceof CodeCell)) {
      continue;
    }
    try {
      const reply = await CodeCell.execute(cell, panel.context.sessionContext);
      if (reply && reply.content.status !== 'ok') {
        return false;
      }
    } catch (reason) {
      console.error(reason);
      return false;
    }
  }
  return true;
}

// A lesson is never "changed": the work is in the record, so there is nothing to save and nothing to ask about.
function keepUnchanged(model) {
  model.stateChanged.connect((_, change) => {
    if (change.name === 'dirty' && change.newValue) {
      model.dirty = false;
    }
  });
  model.dirty = false;
}

function noEditingByDoubleClick(panel) {
  panel.content.node.addEventListener(
    'dblclick',
    event => {
      if (!panel.hasClass('gp-code') && event.target.closest('.jp-MarkdownCell')) {
        event.stopPropagation();
      }
    },
    true
  );
}

// The line at the foot of the lesson: a sentence, and a button where pressing it can help.
function makeStatus(place, onStartAgain) {
  const line = document.createElement('div');
  const sentence = document.createElement('span');
  const button = document.createElement('button');
  line.className = 'gp-status';
  line.hidden = true;
  sentence.setAttribute('role', 'status');
  button.textContent = 'Start again';
  button.addEventListener('click', onStartAgain);
  line.append(sentence, button);
  place.append(line);
  return {
    show: (text, withButton) => {
      line.hidden = !text;
      sentence.textContent = text;
      button.hidden = !withButton;
    }
  };
}
