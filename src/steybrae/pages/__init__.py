"""Pages for a browser: the report and the lesson. They compute nothing that a result could hold."""
