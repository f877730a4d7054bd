"""The web app over the engine: pages, forms, charts and the store; nothing is calculated here."""

__version__ = "1.3.0"
