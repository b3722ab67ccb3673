"""The ground at one place, and what a reading there is compared with."""
