"""Tables, figures and pages; consumes results and computes nothing that a result could hold."""
