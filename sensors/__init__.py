"""What the air in the shop did: packets, payloads, readings and the air record. Knows no trees and no database."""
