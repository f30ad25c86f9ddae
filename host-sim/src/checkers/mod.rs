//! The judges: each looks at the plant's truth only.
