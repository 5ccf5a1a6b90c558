@echo off
rem Sets the course up beside this file, the first time, and opens it. No internet is needed.
cd /d "%~dp0"
py -@PYTHON@ start.py %*
if errorlevel 1 pause
