//! The command line: arguments and running the analysis.
//!
//! Exit codes are in docs/command-line.md.

mod arguments;
mod calibrate;
mod compare;
mod entry;
mod exit;
mod json;
mod load;
mod measure;
mod new;
mod output;
mod plan;
mod printing;
mod profile;
mod progress;
mod simulate;
mod simulate_shelf;
mod solve;

use std::process::ExitCode;

use clap::{CommandFactory as _, FromArgMatches as _};

use arguments::{Arguments, Task};
use exit::{Failure, Outcome};

/// Runs the program with the arguments of the process.
pub fn run() -> ExitCode {
    let matches = match Arguments::command().try_get_matches() {
        Ok(matches) => matches,
        Err(error) => {
            // Help and version come this way too; they go to stdout and count as answered.
            let text = error.render().to_string();
            if error.use_stderr() {
                output::explain(&text);
                return Outcome::BadUsage.code();
            }
            return match output::print(&text) {
                Ok(()) => Outcome::Answered.code(),
                Err(failure) => failure.outcome.code(),
            };
        }
    };
    let result = Arguments::from_arg_matches(&matches)
        .map_err(|error| Failure::usage(error.to_string()))
        .and_then(|arguments| match &arguments.task {
            None => {
                let help = Arguments::command().render_help().to_string();
                output::print(&help).map(|()| Outcome::Answered)
            }
            Some(Task::New(task)) => new::run(task, matches.subcommand_matches("new")),
            Some(Task::Measure(task)) => measure::run(task),
            Some(Task::Solve(task)) => solve::run(task),
            Some(Task::Plan(task)) => plan::run(task),
            Some(Task::Calibrate(task)) => calibrate::run(task),
            Some(Task::Show(task)) => calibrate::show(task),
            Some(Task::Profile(task)) => profile::run(task),
            Some(Task::Sheet(task)) => printing::sheet::run(task),
            Some(Task::Preview(task)) => printing::preview::run(task),
            Some(Task::Compare(task)) => compare::run(task),
            Some(Task::Simulate(task)) => simulate::run(task),
        });
    match result {
        Ok(outcome) => outcome.code(),
        Err(failure) => {
            output::complain(&failure.message);
            failure.outcome.code()
        }
    }
}
