//! Shell completions and the man page, from the same definitions as the commands.

use std::io::{self, Write as _};

use clap::{Args, CommandFactory as _};

use super::{Arguments, Exit, Stop};

/// Print a completion script for a shell.
///
/// Example: emberline completions bash > /etc/bash_completion.d/emberline
#[derive(Debug, Args)]
pub(super) struct CompletionsArgs {
    /// The shell.
    shell: clap_complete::Shell,
}

/// Print the man page.
///
/// Example: emberline manual | man -l -
#[derive(Debug, Args)]
pub(super) struct ManualArgs {}

pub(super) fn completions(args: &CompletionsArgs) -> Result<Exit, Stop> {
    let mut script = Vec::new();
    clap_complete::generate(
        args.shell,
        &mut Arguments::command(),
        "emberline",
        &mut script,
    );
    io::stdout().lock().write_all(&script)?;
    Ok(Exit::Done)
}

pub(super) fn manual(_: &ManualArgs) -> Result<Exit, Stop> {
    let mut out = io::stdout().lock();
    clap_mangen::Man::new(Arguments::command()).render(&mut out)?;
    for command in Arguments::command().get_subcommands() {
        let page = clap_mangen::Man::new(command.clone());
        writeln!(out, ".SH EMBERLINE {}", command.get_name().to_uppercase())?;
        page.render_synopsis_section(&mut out)?;
        page.render_description_section(&mut out)?;
        page.render_options_section(&mut out)?;
    }
    Ok(Exit::Done)
}
