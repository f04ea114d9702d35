use crate::coaching::{PlayerRecorded, PlayerRefusal, PlayerRequest};
use crate::library::{Library, Player};

/// Records what is said about a player and has `store` take recordings in for that player, of which
/// it tells how many it took; a new player for whom none was taken is removed again.
///
/// # Errors
/// [`PlayerRefusal`]; nothing is stored then.
pub fn for_player<T>(
    library: &mut Library,
    said: &PlayerRequest,
    store: impl FnOnce(&mut Library, &Player) -> (usize, T),
) -> Result<(PlayerRecorded, T), PlayerRefusal> {
    let recorded = said.record(library)?;
    let (taken, told) = store(library, &recorded.player);
    if recorded.new && taken == 0 {
        // Unless another process has added for the same player meanwhile.
        library.write(|writer| writer.remove_idle_player(recorded.player.id))?;
    }
    Ok((recorded, told))
}
