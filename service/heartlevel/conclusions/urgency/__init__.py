"""How urgent it is for whom, and since when: what urgent rules name, put together by days and held against the ladder."""
