"""The sky over one site: sun and light, years of days, dull spells, and what the owner knows of them."""
