//! The `precedent` command.

fn main() -> std::process::ExitCode {
    precedent::cli::run()
}
