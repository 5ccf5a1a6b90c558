// Names for the controls that have none, so that a screen reader says "Inlet pressure, slider, 60 psig".
//
// A control's name is, in this order: its own visible label, its tooltip, the tooltip or the label of the `gp-control`
// row around it. A name that a control already has is left alone.

const CONTROLS = '.widget-slider .noUi-handle, .widget-slider .widget-readout, .jupyter-widgets select, .jupyter-widgets input';
const NAMED_BY_US = 'gpNamed';
// Answers of which one is chosen.
const CHOICES = '.widget-radio';
// May be given the focus (a question's head), but is no stop of the Tab key.
const FOCUSABLE = '.gp-top:not([tabindex])';

// Names what is there and what will come. It is done after a frame was painted, not before: what is seen comes first.
export function keepNamed(root) {
  let planned = false;
  const plan = () => {
    if (!planned) {
      planned = true;
      requestAnimationFrame(() => setTimeout(name));
    }
  };
  const name = () => {
    planned = false;
    root.querySelectorAll(CONTROLS).forEach(nameControl);
    root.querySelectorAll(CHOICES).forEach(groupRadios);
    root.querySelectorAll(FOCUSABLE).forEach(box => set(box, 'tabindex', '-1'));
  };
  new MutationObserver(plan).observe(root, {
    childList: true,
    subtree: true,
    characterData: true,
    attributes: true,
    attributeFilter: ['aria-valuetext', 'title']
  });
  plan();
}

// Radios that belong together: heard as one group, one stop of the Tab key, chosen with the arrow keys.
let groups = 0;
function groupRadios(widget) {
  const radios = Array.from(widget.querySelectorAll('input[type="radio"]'));
  if (radios.length === 0 || radios.every(radio => radio.name)) {
    return;
  }
  groups += 1;
  radios.forEach(radio => (radio.name = `gp-choice-${groups}`));
  set(widget, 'role', 'radiogroup');
  const question = widget.closest('.gp-predict') && widget.closest('.gp-predict').querySelector('.gp-question');
  set(widget, 'aria-label', text(question && question.textContent) || labelIn(widget) || 'Your answer');
}

function nameControl(control) {
  if (!control.dataset[NAMED_BY_US] && hasName(control)) {
    return;
  }
  const label = labelOf(control);
  if (!label) {
    return;
  }
  set(control, 'aria-label', label + handleOf(control));
  control.dataset[NAMED_BY_US] = 'yes';
  if (control.classList.contains('noUi-handle')) {
    set(control, 'aria-valuetext', withUnit(valueOf(control), unitOf(control, label)));
  } else if (control.classList.contains('widget-readout')) {
    set(control, 'role', 'textbox');
  }
}

function hasName(control) {
  const labels = Array.from(control.labels || []);
  return Boolean(
    text(control.getAttribute('aria-label')) ||
      control.getAttribute('aria-labelledby') ||
      labels.some(label => text(label.textContent))
  );
}

function labelOf(control) {
  const widget = control.closest('.jupyter-widgets');
  const row = control.closest('.gp-control');
  return (
    (widget && (labelIn(widget) || text(widget.title))) || text(control.title) || (row && (text(row.title) || labelIn(row))) || ''
  );
}

// The first label with words in it; an empty description is still there as an empty label.
function labelIn(element) {
  const labels = Array.from(element.querySelectorAll('.widget-label, .gp-label'));
  return labels.map(label => text(label.textContent)).find(Boolean) || '';
}

// A slider with two handles: which of them.
function handleOf(control) {
  if (!control.classList.contains('noUi-handle')) {
    return '';
  }
  const handles = control.closest('.noUi-target').querySelectorAll('.noUi-handle');
  return handles.length < 2 ? '' : control === handles[0] ? ', lower end' : ', upper end';
}

// What the slider shows beside itself, if it shows its value; else the bare number.
function valueOf(handle) {
  const readout = handle.closest('.widget-slider').querySelector('.widget-readout');
  const several = handle.closest('.noUi-target').querySelectorAll('.noUi-handle').length > 1;
  const shown = readout && readout.style.display !== 'none' && !several ? text(readout.textContent) : '';
  return shown || number(handle.getAttribute('aria-valuetext'));
}

// "60.0000 psig" -> "60", "0.25000000000000006" -> "0.25": the page's own slider writes tails of noughts and last bits.
function number(words) {
  const value = parseFloat(words);
  return Number.isNaN(value) ? text(words) : String(Number(value.toPrecision(6)));
}

// The unit that stands in the control's row, or at the end of its label: "Inlet pressure, psig" or "[psig]".
// What stands in round brackets is as likely a remark.
function unitOf(control, label) {
  const row = control.closest('.gp-control');
  const beside = row && row.querySelector('.gp-unit');
  const found = /(?:\[([^[\]]+)\]|,\s*([^,]+?))\s*:?$/.exec(label);
  return text(beside && beside.textContent) || (found ? found[1] || found[2] : '');
}

function withUnit(value, unit) {
  return unit && value ? `${value} ${unit}` : value;
}

function text(words) {
  return (words || '').replace(/\s+/g, ' ').trim();
}

// Only a change is written: every writing wakes the observer again.
function set(element, attribute, value) {
  if (value && element.getAttribute(attribute) !== value) {
    element.setAttribute(attribute, value);
  }
}
