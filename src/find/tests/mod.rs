mod curves;
mod filter;
mod words;
