//! What every request passes and every answer carries: who may ask, what goes wrong, style and
//! script, and what the handlers share.

pub(crate) mod assets;
pub(crate) mod bodies;
pub(crate) mod choice;
pub(crate) mod door;
pub(crate) mod finish;
pub(crate) mod group;
pub(crate) mod guard;
pub(crate) mod gzip;
pub(crate) mod multipart;
pub(crate) mod pairing;
pub(crate) mod phones;
pub(crate) mod problem;
pub(crate) mod recent;
pub(crate) mod rendered;
pub(crate) mod sending;
pub(crate) mod site;
pub(crate) mod streams;
pub(crate) mod turns;
pub(crate) mod window;
