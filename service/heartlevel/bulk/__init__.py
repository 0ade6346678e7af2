"""Files of any size, assessed part by part: read, cut into parts, judged by several processes, written in order."""
