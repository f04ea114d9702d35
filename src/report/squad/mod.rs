//! A squad on paper: map, tree, shares, months, and the page that holds them.

mod map;
mod months;
mod page;
mod share_mark;
#[cfg(test)]
mod tests;
mod tree;

pub use map::map_drawing;
pub use months::month_shares;
pub use page::squad_page;
pub use share_mark::share_mark;
pub use tree::tree_drawing;
