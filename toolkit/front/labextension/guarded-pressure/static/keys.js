// Enter in a field does what the main button of its box does, so that an answer can be typed and sent in one go.

const FIELD = '.gp-quiz .jupyter-widgets input';
const MAIN_BUTTON = 'button.gp-enter';

export function enterPresses(root) {
  // Before the field itself, which lets no key out.
  const press = event => {
    const field = event.target instanceof Element && event.target.closest(FIELD);
    if (!field || event.key !== 'Enter' || event.repeat || event.isComposing) {
      return;
    }
    const button = field.closest('.gp-quiz').querySelector(MAIN_BUTTON);
    if (button && !button.disabled && button.offsetParent !== null) {
      // A field sends what is typed as it is left; so it is left before the button is pressed.
      button.focus();
      button.click();
    }
  };
  root.addEventListener('keydown', press, true);
}
