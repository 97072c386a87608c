//! `inkdwell man`: from the same definitions as the arguments themselves.

use clap::CommandFactory;
use clap_mangen::Man;

use crate::Outcome;
use crate::arguments::{Arguments, ManArguments};
use crate::failure::Failure;
use crate::terminal::copy_to_stdout;

pub(crate) fn run(typed: &ManArguments) -> Result<Outcome, Failure> {
    let command = Arguments::command();
    let Some(folder) = &typed.out else {
        let mut page = Vec::new();
        Man::new(command)
            .render(&mut page)
            .map_err(|error| Failure::new(format!("the page cannot be made ({error})")))?;
        copy_to_stdout(&mut page.as_slice())?;
        return Ok(Outcome::Fine);
    };
    std::fs::create_dir_all(folder).map_err(|error| Failure::writing(folder, &error))?;
    clap_mangen::generate_to(command, folder).map_err(|error| Failure::writing(folder, &error))?;
    Ok(Outcome::Fine)
}
