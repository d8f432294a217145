//! Exit codes, so that scripts can act on a verdict.

use std::process::ExitCode;

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// All went well; for a qualification, it passed.
    Pass,
    /// A recheck found a difference.
    Differs,
    /// Usage or input error.
    InputError,
    /// The code that belongs to a verdict.
    Verdict(u8),
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        match exit {
            Exit::Pass => Self::SUCCESS,
            Exit::Differs => Self::FAILURE,
            Exit::InputError => Self::from(2),
            Exit::Verdict(code) => Self::from(code),
        }
    }
}
