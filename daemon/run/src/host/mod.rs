//! The machine around outlast: its clock, its folders and small files, threads, sockets, the service
//! manager, the journal.

pub(crate) mod banner;
pub(crate) mod clock;
pub(crate) mod folders;
pub(crate) mod footprint;
pub(crate) mod log;
pub(crate) mod now_text;
pub(crate) mod phone_clock;
pub(crate) mod phones_file;
pub(crate) mod qr;
mod seats;
pub(crate) mod serve;
pub(crate) mod small_files;
pub(crate) mod stop_reason;
pub(crate) mod systemd;
pub(crate) mod test_load;
pub(crate) mod threads;
