//! The twinstrip program; all it does is hand its arguments to the library.

fn main() -> std::process::ExitCode {
    twinstrip::headless::run()
}
