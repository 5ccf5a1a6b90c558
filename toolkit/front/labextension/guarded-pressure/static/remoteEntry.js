// The container that JupyterLab asks for an extension. Written by hand: there is no build step.
(function () {
  const here = new URL('.', document.currentScript.src);
  let shared = null;

  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB['guarded-pressure'] = {
    // JupyterLab hands over its own modules here, by name and version.
    init: scope => {
      shared = scope;
    },
    get: async () => {
      const { makePlugin } = await import(new URL('plugin.js', here));
      const plugin = await makePlugin(shared, new URL('style.css', here).href);
      return () => ({ __esModule: true, default: plugin });
    }
  };
})();
