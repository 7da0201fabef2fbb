//! Why a command failed, and with which exit code.

use std::process::ExitCode;

use crate::settings;

/// `EX_CONFIG` of sysexits.h; the unit does not restart after it.
const SETTINGS_REFUSED: u8 = 78;

/// Why a command failed.
pub(crate) struct Failed {
    pub(super) say: String,
    code: u8,
}

impl Failed {
    /// What was wanted cannot be: of the settings, or of a file that stands for them.
    pub(crate) const fn settings(say: String) -> Self {
        Self { say, code: SETTINGS_REFUSED }
    }

    /// The command was used wrongly.
    pub(crate) const fn wrong_use(say: String) -> Self {
        Self { say, code: 2 }
    }

    /// Says why, and ends with the code.
    pub(crate) fn exit(self) -> ExitCode {
        tracing::error!("{}", self.say);
        ExitCode::from(self.code)
    }
}

impl From<String> for Failed {
    fn from(say: String) -> Self {
        Self { say, code: 1 }
    }
}

impl From<settings::Refused> for Failed {
    fn from(refused: settings::Refused) -> Self {
        Self::settings(refused.to_string())
    }
}
