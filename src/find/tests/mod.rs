mod curves;
mod filter;
mod heads;
mod ranked;
mod words;
