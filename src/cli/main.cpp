// perdure: the program's entry. Everything it can do is in the table of commands.
#include <exception>
#include <iostream>

#include "cli/commands.hpp"

int main(int argc, char** argv) {
    try {
        return perdure::run_command_line(argc, argv, std::cout, std::cerr);
    } catch (const std::exception& error) {
        std::cerr << "perdure: error: " << error.what() << '\n';
        return perdure::exit_input_wrong;
    }
}
