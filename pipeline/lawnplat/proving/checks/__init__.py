"""The checks, a module for each kind of thing; each check yields what one rule finds broken."""
