//! Serves the page.
