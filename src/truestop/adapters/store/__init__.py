"""The record of practice in a database."""
