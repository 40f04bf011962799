//! Saltmarsh Ferry, the invented game that the demo and all examples use.
