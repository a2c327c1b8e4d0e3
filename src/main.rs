//! The `weftlight` program: everything happens in [`weftlight::cli`].

fn main() -> std::process::ExitCode {
    weftlight::cli::run()
}
