"""Parts of the request that are declared apart: device checks, periods; and lists of objects that are read at once."""
