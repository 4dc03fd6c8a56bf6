//! Reads what is around the program once, lets `cli` do what was asked, gives back its exit code.

use std::env;
use std::io::IsTerminal;
use std::process::ExitCode;

use stepbell::cli::{self, Surroundings};

#[expect(clippy::disallowed_methods, reason = "the one place where the environment is read")]
fn main() -> ExitCode {
    let dumb = env::var_os("TERM").is_some_and(|term| term == "dumb");
    let no_colour = env::var_os("NO_COLOR").is_some_and(|set| !set.is_empty());
    let out_is_terminal = std::io::stdout().is_terminal();
    let around = Surroundings {
        args: env::args_os().collect(),
        state_home: env::var_os("XDG_STATE_HOME"),
        home: env::var_os("HOME"),
        no_colour: no_colour || dumb,
        out_is_terminal,
        terminal: out_is_terminal && std::io::stdin().is_terminal() && !dumb,
        path: env::var_os("PATH"),
        config_home: env::var_os("XDG_CONFIG_HOME"),
        cache_home: env::var_os("XDG_CACHE_HOME"),
        temporary: env::temp_dir(),
        second: Some(cli::guide::second_folder(&env::temp_dir())),
    };
    cli::run(&around).into()
}
