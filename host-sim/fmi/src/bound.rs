//! A session together with what it borrows from.

use std::sync::Arc;

use host_sim::export::{Session, Source};

/// A session that owns its source. A copy is a saved state.
///
/// The lifetime of the session is not really that of the program, but that of `source`.
#[derive(Clone)]
pub(crate) struct Bound {
    // Dropped first, in the order of the fields.
    session: Session<'static>,
    source: Arc<Source>,
}

impl Bound {
    pub(crate) fn new(source: Arc<Source>) -> Result<Bound, String> {
        let at: *const Source = Arc::as_ptr(&source);
        // SAFETY: The source lives on the heap, does not move, and is never changed (an `Arc` that
        // is shared gives no `&mut`, and this one is private). It lives as long as `self.source`
        // or a copy of it, and each session stands beside its own and is dropped before it. No
        // borrow of that length leaves: `with` lends the session with a lifetime that its caller
        // cannot name.
        let borrowed: &'static Source = unsafe { &*at };
        Ok(Bound { session: Session::new(borrowed)?, source })
    }

    /// Do something with the session.
    pub(crate) fn with<T>(&mut self, act: impl for<'s> FnOnce(&mut Session<'s>) -> T) -> T {
        act(&mut self.session)
    }

    /// Whether both are of one source.
    pub(crate) fn is_kin(&self, other: &Bound) -> bool {
        Arc::ptr_eq(&self.source, &other.source)
    }
}
