"""A simulated bench for gas regulators and the layers that protect what stands downstream."""

__version__ = "0.1.0"
