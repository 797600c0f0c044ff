@echo off
rem Makes the review of the month that is over and sends it. Started by the task in monthly-report.xml.
rem Change the five lines that begin with "set DRIFTBOOK" to your own. Keep this file, and the file with the password, readable for
rem the account of the task only.
setlocal
set DRIFTBOOK_BOOK=C:\driftbook\driftbook.db
set DRIFTBOOK_SMTP_HOST=mail.plant.example
set DRIFTBOOK_SMTP_USER=driftbook@plant.example
set DRIFTBOOK_SMTP_PASSWORD_FILE=C:\driftbook\smtp-password.txt
set DRIFTBOOK_MAIL_TO=manager@plant.example
cd /d C:\driftbook
rem A book of several sites: such a file and its task for each, with --site CODE before --mail.
C:\driftbook\venv\Scripts\driftbook.exe report month --mail >> monthly-report.log 2>&1
exit /b %ERRORLEVEL%
