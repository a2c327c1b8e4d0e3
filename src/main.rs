//! The `weftlight` program: everything happens in [`weftlight::cli`].

#![forbid(unsafe_code)]

fn main() -> std::process::ExitCode {
    weftlight::cli::run()
}
