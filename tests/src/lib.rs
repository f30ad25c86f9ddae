//! Shared helpers of the behaviour tests.
