"""The manual: pages of prose in ``text/`` with tables that come from the program's own."""
