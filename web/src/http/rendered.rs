//! One rendering per snapshot, shared by all who look.
//!
//! The first who asks after a new snapshot pays for the rendering, the others get the same bytes.
//! With nobody looking, nothing is rendered.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use axum::body::Bytes;
use reckon::snapshot::Snapshot;

use crate::{RecordStatus, http::assets::Theme, wire};

/// A part of the page that is replaced as a whole.
pub(crate) struct Section {
    /// Its element's id.
    pub id: &'static str,
    /// What stands in it.
    pub html: String,
}

/// What Now differs by, besides the snapshot and how the record is kept.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) struct Variant {
    pub look: Theme,
    pub paired: bool,
}

/// What has been made of one snapshot so far.
pub(crate) struct Rendered {
    pub(crate) snapshot: Arc<Snapshot>,
    record_status: Arc<RecordStatus>,
    json: OnceLock<Bytes>,
    event: OnceLock<Bytes>,
    sections: OnceLock<Arc<[Section]>>,
    pages: Mutex<Vec<(Variant, Bytes)>>,
}

impl Rendered {
    fn new(snapshot: Arc<Snapshot>, record_status: Arc<RecordStatus>) -> Self {
        let (json, event, sections) = (OnceLock::new(), OnceLock::new(), OnceLock::new());
        Self { snapshot, record_status, json, event, sections, pages: Mutex::default() }
    }

    /// Now in this variant, made once; `None` if it could not be.
    pub(crate) fn page(
        &self,
        variant: Variant,
        make: impl FnOnce() -> Option<Bytes>,
    ) -> Option<Bytes> {
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, page)) = pages.iter().find(|(of, _)| *of == variant) {
            return Some(page.clone());
        }
        let page = make()?;
        pages.push((variant, page.clone()));
        Some(page)
    }

    /// The snapshot as JSON.
    pub(crate) fn json(&self) -> Bytes {
        let made = || serde_json::to_vec(&wire::now::now(&self.snapshot));
        self.json.get_or_init(|| Bytes::from(made().unwrap_or_default())).clone()
    }

    /// The snapshot as one event of a stream. JSON without line breaks needs one `data` line.
    pub(crate) fn event(&self) -> Bytes {
        let made = || [b"data: ", &*self.json(), b"\n\n"].concat();
        self.event.get_or_init(|| Bytes::from(made())).clone()
    }

    /// The parts of Now.
    pub(crate) fn sections(
        &self,
        make: impl FnOnce(&Snapshot, &RecordStatus) -> Vec<Section>,
    ) -> Arc<[Section]> {
        let made = || make(&self.snapshot, &self.record_status).into();
        Arc::clone(self.sections.get_or_init(made))
    }
}

/// Keeps the rendering of the newest snapshot.
#[derive(Default)]
pub(crate) struct Cache(Mutex<Option<Arc<Rendered>>>);

impl Cache {
    pub(crate) fn rendering(
        &self,
        snapshot: &Arc<Snapshot>,
        record_status: Arc<RecordStatus>,
    ) -> Arc<Rendered> {
        let mut newest = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match &*newest {
            Some(rendered)
                if Arc::ptr_eq(&rendered.snapshot, snapshot)
                    && Arc::ptr_eq(&rendered.record_status, &record_status) =>
            {
                Arc::clone(rendered)
            }
            _ => {
                let rendered = Rendered::new(Arc::clone(snapshot), record_status);
                Arc::clone(newest.insert(Arc::new(rendered)))
            }
        }
    }
}
