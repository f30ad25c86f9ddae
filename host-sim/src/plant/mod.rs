//! The full plant.
