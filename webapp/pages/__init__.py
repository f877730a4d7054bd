"""One module a page, each exposing `router`; `webapp.app` lists them."""
