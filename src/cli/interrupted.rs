//! Ctrl-C (or being told to end by the system) in a command that writes: what is unfinished is cleared away, then the program ends.
//!
//! Where a signal is ignored already, as by `nohup` or in the background of a shell script, it stays ignored.

use super::output;
use crate::files;

/// Exit code of a program that a signal ended, as shells have it: this and the number of the signal.
#[cfg(unix)]
const ENDED_BY: i32 = 128;
/// Numbers of the signals, the same on all systems of this kind (POSIX).
#[cfg(unix)]
const INTERRUPT: i32 = 2;
#[cfg(unix)]
const TERMINATE: i32 = 15;

/// From here on, until the program ends. Where signals cannot be heard, the system ends the program, and the next one that writes into
/// the same folder clears away what is left.
pub(super) fn clear_away_when_told_to_end() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build();
    let Ok(runtime) = runtime else { return };
    let waiting = move || {
        let code = runtime.block_on(told());
        let _nothing_more = files::abandon();
        output::message("\nStopped. What was not finished is cleared away.");
        // The work goes on in other threads, which nothing else ends.
        #[allow(clippy::exit)]
        std::process::exit(code);
    };
    // Without a thread the system's own handling stays.
    let _ = std::thread::Builder::new().name("interrupted".to_owned()).spawn(waiting);
}

/// Waits for the first signal to end; the exit code for it.
#[cfg(unix)]
async fn told() -> i32 {
    tokio::select! {
        number = heard(INTERRUPT) => ENDED_BY + number,
        number = heard(TERMINATE) => ENDED_BY + number,
    }
}

#[cfg(unix)]
async fn heard(number: i32) -> i32 {
    use tokio::signal::unix::{SignalKind, signal};
    if !is_ignored(number)
        && let Ok(mut signal) = signal(SignalKind::from_raw(number))
        && signal.recv().await.is_some()
    {
        return number;
    }
    std::future::pending().await
}

/// Whether whoever started the program had it ignore a signal. Only where the system tells (Linux); elsewhere none is taken as ignored.
#[cfg(unix)]
#[allow(clippy::disallowed_methods)]
fn is_ignored(number: i32) -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    let mask = mask.and_then(|digits| u64::from_str_radix(digits.trim(), 16).ok());
    mask.is_some_and(|mask| mask >> (number - 1) & 1 == 1)
}

#[cfg(not(unix))]
async fn told() -> i32 {
    // Windows' code for a program that Ctrl-C ended (STATUS_CONTROL_C_EXIT).
    const ENDED_BY_CTRL_C: i32 = 0xC000_013A_u32 as i32;
    if tokio::signal::ctrl_c().await.is_err() {
        std::future::pending::<()>().await;
    }
    ENDED_BY_CTRL_C
}
