//! (module in work)
