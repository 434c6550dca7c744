"""What is asked of a box and how its reply is read; no reader knows a transport."""
