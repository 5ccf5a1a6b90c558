@echo off
rem Opens the lessons to a class; "start-class.bat --network" lets the other devices in the room come in.
call "%~dp0start.bat" serve %*
