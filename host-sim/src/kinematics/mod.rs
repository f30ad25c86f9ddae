//! Exact kinematics of every lock set.
