// Package soak does to a data folder and its server what goes wrong in years of
// use and what somebody may do on purpose, again and again, and counts what was
// lost and what nobody would have noticed. make test runs its short form, make
// soak as long as SOAK says.
package soak
