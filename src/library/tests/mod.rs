mod check_in;
mod crash;
mod faulty;
mod golden;
pub(crate) mod made;
mod plans;
mod practice;
mod putting_right;
mod store;
