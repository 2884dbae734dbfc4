"""soundwood: from sightings of wood-decay fungi on city trees to scheduled, explained work."""

__version__ = "0.1.0"
