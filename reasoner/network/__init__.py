"""Rules and a vehicle, compiled to a graph (networkx) and that to tables (numpy)."""
