// perdure: the program's entry. Everything it can do is in the table of commands.
#include <exception>
#include <iostream>

#include "cli/commands.hpp"

int main(int argc, char** argv) {
    try {
        const int code = perdure::run_command_line(argc, argv, std::cout, std::cerr);
        if (!std::cout.flush()) {
            std::cerr
                << "perdure: error: the output could not be written whole: a full disk, or a reader that is gone\n";
            return perdure::exit_input_wrong;
        }
        return code;
    } catch (const std::exception& error) {
        std::cerr << "perdure: error: " << error.what() << '\n';
        return perdure::exit_input_wrong;
    }
}
