"""The rules of our office."""

from house_rules import long_socket_circuit

RULES = (long_socket_circuit.RULE,)
