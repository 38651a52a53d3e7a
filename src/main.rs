//! The twinstrip program: files or nothing as arguments open the window, everything else is the
//! command line's.

fn main() -> std::process::ExitCode {
    #[cfg(feature = "window")]
    if let Some(paths) = twinstrip::window::asked_for(std::env::args_os()) {
        return twinstrip::window::run(paths);
    }
    twinstrip::headless::run()
}
