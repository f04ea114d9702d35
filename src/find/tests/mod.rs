mod curves;
mod filter;
mod ranked;
mod words;
