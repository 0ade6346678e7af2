"""Parts of the request that are declared apart: device checks, periods."""
