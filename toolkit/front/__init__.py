"""The way in: the `course` command, JupyterLab's settings, and the page script that runs a lesson by itself."""
