//! Writes the sample files of the invented academy: `cargo run --example demo_data -- demo-data`.

use std::path::PathBuf;

fn main() -> anyhow::Result<()> {
    let folder: PathBuf = std::env::args_os().nth(1).unwrap_or_else(|| "demo-data".into()).into();
    for (name, bytes) in precedent::demo::samples()? {
        std::fs::write(folder.join(name), bytes)?;
    }
    Ok(())
}
