//! Why we are told to stop: the service manager's list of jobs says whether the board is being
//! switched off or restarted. An outing survives a restart, but not being switched off.

use std::{
    io::Read,
    process::{Command, Stdio},
    time::Duration,
};

use reckon::belief::last_end::StopHow;

use crate::host::clock::Clock;

/// How long the service manager is asked at most: the power may be about to go.
const PATIENCE: Duration = Duration::from_secs(2);

/// Asks the service manager. Without one, we were told to stop and know no more.
pub(crate) fn how(clock: &Clock) -> StopHow {
    jobs(clock).map_or(StopHow::Stopped, |jobs| of_jobs(&jobs))
}

fn jobs(clock: &Clock) -> Option<String> {
    let mut child = Command::new("systemctl")
        .args(["list-jobs", "--plain", "--no-legend", "--no-pager"])
        // It would report its own failure there, as if it were ours.
        .env_remove("NOTIFY_SOCKET")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    let until = clock.mono().plus(PATIENCE);
    while clock.mono() < until {
        match child.try_wait() {
            Ok(Some(status)) => {
                let mut text = String::new();
                child.stdout.take()?.take(64 * 1024).read_to_string(&mut text).ok()?;
                return status.success().then_some(text);
            }
            Ok(None) => crate::host::clock::pause(Duration::from_millis(20)),
            Err(_) => break,
        }
    }
    // It hangs, or cannot be waited for: nothing more is wanted of it.
    let _ = child.kill();
    let _ = child.wait();
    None
}

/// Names of the targets: systemd.special(7).
fn of_jobs(jobs: &str) -> StopHow {
    let begins = |names: &[&str]| {
        jobs.lines()
            .any(|line| line.contains(" start") && names.iter().any(|name| line.contains(name)))
    };
    if begins(&["reboot.target", "soft-reboot.target", "kexec.target"]) {
        StopHow::Restarting
    } else if begins(&["poweroff.target", "halt.target", "shutdown.target"]) {
        StopHow::SwitchingOff
    } else {
        StopHow::Stopped
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_manager_s_jobs_tell_a_restart_from_switching_off() {
        let off = "312 poweroff.target start waiting\n313 shutdown.target start waiting\n\
                   340 outlast.service stop running\n";
        assert_eq!(of_jobs(off), StopHow::SwitchingOff);
        assert_eq!(of_jobs(&off.replace("poweroff", "reboot")), StopHow::Restarting);
        assert_eq!(of_jobs("340 outlast.service restart running\n"), StopHow::Stopped);
        assert_eq!(of_jobs(""), StopHow::Stopped);
    }
}
