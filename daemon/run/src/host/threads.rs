//! Threads without which there is nothing to show: if one of them panics, the process ends at once
//! with its reason and systemd starts it anew. A page that panics costs only that page.

use std::{
    any::Any,
    io,
    panic::{AssertUnwindSafe, catch_unwind},
    process::exit,
    thread::{Builder, JoinHandle},
};

use reckon::words;

/// Stack of our threads: none of them goes deep.
const STACK_BYTES: usize = 512 * 1024;

/// Starts such a thread.
///
/// # Errors
/// When the system has no room for another thread.
pub(crate) fn critical(
    name: &'static str,
    body: impl FnOnce() + Send + 'static,
) -> io::Result<JoinHandle<()>> {
    let guarded = move || {
        if let Err(reason) = catch_unwind(AssertUnwindSafe(body)) {
            let reason = sentence(reason.as_ref());
            tracing::error!("{}", words::journal::broke_down(&name, &reason));
            exit(1);
        }
    };
    Builder::new().name(name.to_owned()).stack_size(STACK_BYTES).spawn(guarded)
}

fn sentence(reason: &(dyn Any + Send)) -> &str {
    let text = reason.downcast_ref::<&str>().copied();
    text.or_else(|| reason.downcast_ref::<String>().map(String::as_str))
        .unwrap_or(words::journal::NO_REASON)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::process::Command;

    const MARK: &str = "OUTLAST_TEST_BREAKS_DOWN";

    #[test]
    fn a_panic_in_a_critical_thread_ends_the_process() {
        if std::env::var_os(MARK).is_some() {
            // This is the child below: it must not outlive its thread.
            crate::host::log::begin();
            let _handle = critical("sampler", || panic!("a made-up reason")).unwrap();
            std::thread::sleep(std::time::Duration::from_secs(30));
            return;
        }
        let me = std::env::current_exe().unwrap();
        let name = "host::threads::tests::a_panic_in_a_critical_thread_ends_the_process";
        let out = Command::new(me)
            .args(["--exact", name, "--nocapture"])
            .env(MARK, "1")
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stderr);
        assert_eq!(out.status.code(), Some(1), "{said}");
        assert!(said.contains("the sampler failed (a made-up reason)"), "{said}");
    }
}
