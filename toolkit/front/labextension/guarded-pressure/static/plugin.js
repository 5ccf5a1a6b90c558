// The extension itself: which notebooks are lessons, what happens when one is opened, and the one command.

import { openLesson, showCode } from './lesson.js';
import { enterPresses } from './keys.js';
import { keepNamed } from './names.js';
import { keepInSight } from './sight.js';

// Lessons that stay open behind the one in front. Each has a kernel of its own, 0.1 to 0.2 GB of memory.
const KEPT_OPEN = 3;
const COMMAND = 'guarded-pressure:code';

// One of JupyterLab's own modules.
async function jupyterLabs(shared, name) {
  const versions = Object.values(shared[name]);
  const version = versions.find(offered => offered.loaded) || versions[0];
  return (await version.get())();
}

export async function makePlugin(shared, styleSheet) {
  const [notebook, cells, apputils, mainmenu] = await Promise.all(
    ['notebook', 'cells', 'apputils', 'mainmenu'].map(name => jupyterLabs(shared, `@jupyterlab/${name}`))
  );
  return {
    id: 'guarded-pressure:plugin',
    autoStart: true,
    requires: [notebook.INotebookTracker],
    optional: [apputils.ICommandPalette, mainmenu.IMainMenu],
    activate: (app, tracker, palette, menus) => {
      addStyle(styleSheet);
      keepNamed(document.body);
      enterPresses(document.body);
      keepInSight(document.body);
      leaveKeysToTheControls(app.commands);
      addCodeCommand(app.commands, tracker, palette, menus);
      followLinksInside(document.body, app.commands);
      app.restored.then(() => {
        app.shell.collapseLeft();
        app.shell.collapseRight();
      });
      tracker.widgetAdded.connect((_, panel) => {
        panel.context.ready.then(() => {
          if (isLesson(panel)) {
            openLesson(panel, cells.CodeCell);
            closeOldest(tracker);
          }
        });
      });
    }
  };
}

// A lesson says so in its metadata. The server shows the lessons folder and nothing else.
function isLesson(panel) {
  const ours = panel.context.model.getMetadata('guarded_pressure');
  return Boolean(ours && ours.lesson);
}

function addStyle(href) {
  const link = document.createElement('link');
  link.rel = 'stylesheet';
  link.href = href;
  document.head.appendChild(link);
}

// Going from lesson to lesson must not fill a small computer's memory.
function closeOldest(tracker) {
  const lessons = [];
  tracker.forEach(panel => panel.hasClass('gp-lesson') && lessons.push(panel));
  lessons.slice(0, -KEPT_OPEN).forEach(panel => panel !== tracker.currentWidget && panel.close());
}

// With the code hidden, a plain letter must not cut, paste or retype a cell that nobody sees,
// and an arrow belongs to the slider. Combinations with Ctrl, Alt or Cmd still reach JupyterLab.
function leaveKeysToTheControls(commands) {
  const process = commands.processKeydownEvent.bind(commands);
  commands.processKeydownEvent = event => {
    const inLesson = event.target instanceof Element && event.target.closest('.gp-lesson:not(.gp-code) .jp-Notebook');
    if (inLesson && !event.ctrlKey && !event.metaKey && !event.altKey) {
      return;
    }
    process(event);
  };
}

// A link to a lesson inside a widget opens it in this window, as the links in the text do, and not as a new page.
function followLinksInside(root, commands) {
  root.addEventListener('click', event => {
    const link = event.target instanceof Element && event.target.closest('a.gp-lesson-link');
    if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      commands.execute('docmanager:open', { path: link.getAttribute('href') });
    }
  });
}

function addCodeCommand(commands, tracker, palette, menus) {
  const lesson = () => {
    const panel = tracker.currentWidget;
    return panel && panel.hasClass('gp-lesson') ? panel : null;
  };
  commands.addCommand(COMMAND, {
    label: 'Show or hide the code',
    caption: 'Show or hide the code of this lesson',
    isEnabled: () => lesson() !== null,
    isToggled: () => lesson() !== null && lesson().hasClass('gp-code'),
    describedBy: { args: { type: 'object', properties: {} } },
    execute: () => {
      const panel = lesson();
      if (panel) {
        showCode(panel, !panel.hasClass('gp-code'));
        commands.notifyCommandChanged(COMMAND);
      }
    }
  });
  if (palette) {
    palette.addItem({ command: COMMAND, category: 'Lesson' });
  }
  if (menus) {
    menus.viewMenu.addGroup([{ command: COMMAND }], 0);
  }
}
