"""What a person who builds on the service looks at: tables sent by hand, the page to try it out, the reference."""
